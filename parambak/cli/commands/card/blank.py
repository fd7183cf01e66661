"""`card blank`: a card sheet to fill in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.card.blank import CardBlankQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.card.blank import CardBlankAnswer
    from parambak.cli.screen import Screen


@parambak_command("blank", example="parambak card blank --out PC-4471.toml", vault=False)
@click.option("--out", metavar="FILE", help="The file to write. Default: the sheet is printed.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Write a blank card sheet, every line a comment, to fill in with any editor."""
    return settings.ask(answer, CardBlankQuestion(**options), _page)


def _page(screen: Screen, blank: CardBlankAnswer) -> None:
    if blank.file is None:
        click.echo(blank.text, nl=False)
        return
    screen.good(
        f"Written: {blank.file}, a blank card sheet. Remove the # from each line that you fill in. "
        "Then keep it with `parambak card record`."
    )
