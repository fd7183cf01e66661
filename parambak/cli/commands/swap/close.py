"""`swap close`: contents proven and functions tested, or abandoned with a reason."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.close import SwapCloseQuestion, answer, needs_old_card
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import CAUTION, deviations
from parambak.cli.parts.accept import accept_options
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state.cards import CARD_LOCATIONS
from parambak.memory.counted import counted
from parambak.swap.swaps import ABANDONED, EMERGENCY

VALUES = "carried over by VALUES of two layouts, no byte compared with the selected copy"

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
@click.option(
    "--old-card-to",
    type=click.Choice(CARD_LOCATIONS[1:]),
    help="Where the old card goes. Asked on a terminal.",
)
@accept_options(by=None, reason="Why it is accepted, abandoned or an emergency; or a remark.")
@click.option(
    "--emergency",
    is_flag=True,
    help="Close it with something missing. Needs --reason. `due` asks for what is missing.",
)
@click.option("--abandoned", is_flag=True, help="The swap is abandoned. Needs --reason.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Close the open swap at WHERE.

    `swap check` lists what is required: read-backs before and after power that match the selected
    copy, the function tests, and where the old card goes. Then what was read back becomes the
    newest copy. Where each card is now is also recorded.
    """
    asked = not options["abandoned"] and options["old_card_to"] is None
    if asked and not settings.json and sys.stdin.isatty():
        options["old_card_to"] = _old_card(settings, options["where"])
    return settings.ask(answer, SwapCloseQuestion(**options), _page)


def _old_card(settings: Settings, where: str) -> str | None:
    """Ask a person at a terminal where the old card goes; None if that is on record."""
    if not needs_old_card(settings.session, where):
        return None
    locations = click.Choice(CARD_LOCATIONS[1:])
    return str(click.prompt("Where does the old card go?", type=locations, err=True))


def _page(screen: Screen, closed: SwapCloseAnswer) -> None:
    deviations(screen, closed.deviations)
    if closed.outcome == ABANDONED:
        _abandoned(screen, closed)
        return
    counted_reads = counted(closed.reads_taken_in, "read-back")
    match = "match by bytes" if closed.bytes_compared else VALUES
    if closed.outcome == EMERGENCY and not closed.bytes_compared:
        match = "NOT PROVEN, or by values only"
    facts = [
        ("contents", f"{match}; {counted_reads} on record as reads"),
        ("functions", closed.functions or "none"),
    ]
    screen.facts([*facts, *(("card", card) for card in closed.cards)], indent=0)
    if closed.outcome == EMERGENCY:
        screen.bad(f"The swap at {closed.where} is CLOSED IN EMERGENCY. Still missing:")
        screen.points(f"{entry.condition}: {entry.text}" for entry in closed.missing)
        screen.say(
            "`parambak due` asks for this until it is done. Then run `parambak swap close` again."
        )
    else:
        screen.good(f"The swap at {closed.where} is CLOSED.")
    screen.say("Keep the old card in its bag until the unit has proved itself in service.")
    screen.say("Send the vault to a backup location: `parambak backup send NAME`.")
    screen.say(CAUTION)


def _abandoned(screen: Screen, closed: SwapCloseAnswer) -> None:
    screen.warn(f"The swap at {closed.where} is abandoned, and that is on record.")
    screen.say("No read-back became a copy. The old card's copy is unchanged.")
    plan = closed.fallback_plan
    how = f"by the fallback plan: {plan}" if plan is not None else "with power off"
    screen.say(
        f"If the new card is in the unit, fit the old card again, {how}. Then test the functions."
    )
    screen.say(CAUTION)
