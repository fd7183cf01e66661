"""`card blank`: a card sheet to fill in."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.blank import CardBlankQuestion
from parambak.cli.command import asks

if TYPE_CHECKING:
    from parambak.answers.card.blank import CardBlankAnswer
    from parambak.cli.screen import Screen


@asks(CardBlankQuestion, example="parambak card blank --out PC-4471.toml", vault=False)
@click.option("--out", metavar="FILE", help="The file to write. Default: the sheet is printed.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, blank: CardBlankAnswer) -> None:
    """Write a blank card sheet, every line a comment, to fill in with any editor."""
    if blank.file is None:
        click.echo(blank.text, nl=False)
        return
    screen.good(
        f"Written: {blank.file}, a blank card sheet. Remove the # from each line that you fill in. "
        "Then keep it with `parambak card record`."
    )
