"""`card program`: the sums of a program memory, as lines for a card sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.program import CardProgramQuestion
from parambak.cli.command import FORMAT_HELP, FormatName, asks

if TYPE_CHECKING:
    from parambak.answers.card.program import CardProgramAnswer
    from parambak.cli.screen import Screen


@asks(CardProgramQuestion, example="parambak card program U7.BIN --position U7", vault=False)
@click.argument("dump", metavar="DUMP")
@click.option("--position", metavar="TEXT", help="Its position on the card, such as U7.")
@click.option("--format", type=FormatName(), help=FORMAT_HELP)
@click.option("--accept", multiple=True, metavar="NAME", help="Allow one irregularity.")
def command(_: Screen, program: CardProgramAnswer) -> None:
    """Print the sums of a program memory, as lines for a card sheet.

    DUMP itself is not kept. If a maker's bytes may not be kept, the SHA-256 alone shows if
    two memories hold the same.
    """
    click.echo("\n".join(program.lines))
