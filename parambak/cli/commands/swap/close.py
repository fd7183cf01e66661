"""`swap close`: contents proven and functions tested, or given up with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.close import SwapCloseQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
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
    help="A function test: passed or failed; more words may follow a colon.",
)
@click.option("--abandoned", is_flag=True, help="The swap is given up; with --reason.")
@click.option("--reason", metavar="TEXT", help="Why it was given up, or a remark.")
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

    That the contents match, by bytes and two read-backs made apart, is one thing; that
    every function was tested is another. Only both close it. What was read back then
    becomes the newest copy, and the location of the cards are put on record.
    """
    return settings.ask(answer, SwapCloseQuestion(**options), _page)


def _page(screen: Screen, closed: SwapCloseAnswer) -> None:
    deviations(screen, closed.deviations)
    if closed.outcome == "abandoned":
        _given_up(screen, closed)
        return
    by = "match by bytes"
    if not closed.bytes_compared:
        by = "carried over by VALUES of two layouts, no byte compared with the selected copy"
    facts = [
        ("contents", f"{by}; {counted(closed.reads_taken_in, 'read-back')} on record as reads"),
        ("functions", f"{counted(len(closed.tests), 'test')} passed"),
    ]
    screen.facts([*facts, *(("card", card) for card in closed.cards)], indent=0)
    screen.good(f"The swap at {closed.where} is CLOSED.")
    screen.say("Keep the old card bagged until the ship says otherwise. Send the vault to a place.")


def _given_up(screen: Screen, closed: SwapCloseAnswer) -> None:
    screen.mind(f"The swap at {closed.where} is given up, and that is on record.")
    screen.say("Nothing that was read back became a copy. The old card's copy stands.")
    fallback_plan = (
        f": {closed.fallback_plan}" if closed.fallback_plan is not None else ", with power off"
    )
    screen.say(f"The old card goes back in by the way back{fallback_plan}. Test its functions too.")
