"""`swap close`: contents proven and functions tested, or abandoned with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.close import SwapCloseQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import CAUTION, deviations
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state.cards import CARD_LOCATIONS
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.swap.close import SwapCloseAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "close",
    example="parambak swap close grebe/port-thruster/U12 --by 'J. Doe' --test 'stop=passed'",
)
@click.argument("where", metavar="WHERE")
@click.option("--by", metavar="PERSON", required=True, help="Who did the tests and closes it.")
@click.option(
    "--test",
    "tests",
    metavar="NAME=RESULT",
    multiple=True,
    help="A function test: passed or failed. A remark may follow a colon.",
)
@click.option("--abandoned", is_flag=True, help="The swap is abandoned. Needs --reason.")
@click.option("--reason", metavar="TEXT", help="Why it was abandoned, or a remark.")
@click.option(
    "--old-card-to",
    type=click.Choice(CARD_LOCATIONS[1:]),
    default="ashore",
    show_default=True,
    help="Where the old card goes.",
)
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Close the open swap at WHERE.

    Two things must be proven: two separate read-backs match the selected copy, and every
    function test passed. Then what was read back becomes the newest copy. Where each card is
    now is also recorded.
    """
    return settings.ask(answer, SwapCloseQuestion(**options), _page)


def _page(screen: Screen, closed: SwapCloseAnswer) -> None:
    deviations(screen, closed.deviations)
    if closed.outcome == "abandoned":
        _abandoned(screen, closed)
        return
    match = "match by bytes"
    if not closed.bytes_compared:
        match = "carried over by VALUES of two layouts, no byte compared with the selected copy"
    facts = [
        ("contents", f"{match}; {counted(closed.reads_taken_in, 'read-back')} on record as reads"),
        ("functions", f"{counted(len(closed.tests), 'test')} passed"),
    ]
    screen.facts([*facts, *(("card", card) for card in closed.cards)], indent=0)
    screen.good(f"The swap at {closed.where} is CLOSED.")
    screen.say("Keep the old card in its bag until the trials are done.")
    screen.say("Send the vault to a backup location: `parambak backup send NAME`.")
    screen.say(CAUTION)


def _abandoned(screen: Screen, closed: SwapCloseAnswer) -> None:
    screen.warn(f"The swap at {closed.where} is abandoned, and that is on record.")
    screen.say("No read-back became a copy. The old card's copy is unchanged.")
    plan = closed.fallback_plan
    how = f"by the fallback plan: {plan}" if plan is not None else "with power off"
    screen.say(f"Fit the old card again, {how}. Test the functions of the old card too.")
    screen.say(CAUTION)
