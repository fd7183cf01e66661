"""`swap select`: an older copy is selected in place of the newest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.swap.select import SwapSelectQuestion
from parambak.cli.command import asks
from parambak.cli.commands.swap.check import deviations
from parambak.cli.parts.runs import run_rows

if TYPE_CHECKING:
    from parambak.answers.swap.select import SwapSelectAnswer
    from parambak.cli.screen import Screen

MOST_RUNS = 20  # on the page; --json has them all


@asks(
    SwapSelectQuestion,
    example="parambak swap select grebe/port-thruster/U12@previous --by 'J. Doe' --reason TEXT",
)
@click.argument("copy", metavar="COPY")
@click.option("--by", metavar="PERSON", required=True, help="Who selects it.")
@click.option("--reason", metavar="TEXT", required=True, help="Why not the newest copy.")
def command(screen: Screen, choice: SwapSelectAnswer) -> None:
    """Select an older COPY in the open swap, and show how it differs from the newest."""
    deviations(screen, choice.accepted)
    screen.heading(f"Selected from now on: {choice.copy}")
    if choice.runs:
        screen.say("It differs from the newest copy in:")
        rows = run_rows(choice.runs)
        screen.table(("address", "bytes", "newest", "should be"), rows[:MOST_RUNS], right=(1,))
        if len(rows) > MOST_RUNS:
            screen.say(f"and {len(rows) - MOST_RUNS} more stretches; --json lists all of them.")
    else:
        screen.say("It is the newest copy.")
    screen.say()
    if choice.verified:
        screen.good("It is verified. `parambak swap check` now uses it.")
    else:
        screen.bad("It is NOT VERIFIED. `parambak swap check` shows what is missing.")
