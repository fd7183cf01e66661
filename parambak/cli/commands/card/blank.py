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
@click.option("--out", metavar="FILE", help="The file to write; else it is printed.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Write a card sheet in which every line is a comment, to fill in in any editor."""
    return settings.ask(answer, CardBlankQuestion(**options), _page)


def _page(screen: Screen, blank: CardBlankAnswer) -> None:
    if blank.file is None:
        click.echo(blank.text, nl=False)
        return
    screen.good(
        f"A blank card sheet is in {blank.file}. Take the # away from the lines that you fill in; "
        "then keep it with `parambak card record`."
    )
