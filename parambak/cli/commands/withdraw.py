"""`withdraw`: records that a person takes back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.withdraw import WithdrawQuestion
from parambak.cli.command import asks
from parambak.cli.parts.withdrawn import left_lines, withdrawn_lines
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.withdraw import WithdrawAnswer
    from parambak.cli.screen import Screen


@asks(
    WithdrawQuestion,
    example="parambak withdraw grebe/port-thruster/U12@latest --by 'J. Doe' "
    "--reason 'the chip of the spare card'",
)
@click.argument("where", metavar="WHERE|COPY")
@click.option("--by", metavar="PERSON", help="Who withdraws it. Default: the open visit's person.")
@click.option("--reason", metavar="TEXT", required=True, help="Why it does not count.")
@click.option(
    "--read", multiple=True, metavar="NAME", help="Only this read: its dump file, or its record."
)
@click.option("--remark", metavar="TEXT", help="A remark on a change there, by its first words.")
@click.option("--measured", metavar="DAY", help="The measurement there on this day.")
def command(screen: Screen, withdrawn: WithdrawAnswer) -> None:
    """Withdraw what was put on record by mistake: it stays on record, and counts nowhere.

    COPY stands for all reads that one `archive` kept with its newest read. WHERE stands for a
    position, a unit or a card, with all that is on record there.

    `history WHERE --withdrawn` shows what was withdrawn, struck through.
    """
    screen.good(f"{counted(len(withdrawn.withdrawn), 'record')} withdrawn; none of them counts.")
    withdrawn_lines(screen, withdrawn.withdrawn)
    left_lines(screen, withdrawn.left)
