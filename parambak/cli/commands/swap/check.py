"""`swap check`: whether the swap may begin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.check import SwapCheckQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.accept import accept_options
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.swap.readiness import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.swap.check import ConditionShown, SwapCheckAnswer
    from parambak.cli.screen import Screen


CAUTION = (
    "Caution: the unit can hurt people. Isolate it. Follow the maker and the permit to work. "
    "Test before service. All cautions: `parambak swap open`."
)
"""The hazard in short, and where the full cautions are."""
WHEN_OPEN = "in a swap"
"""What the page shows of a condition that is required once a swap is open."""


@parambak_command("check", example="parambak swap check grebe/port-thruster/U12")
@click.argument("where", metavar="WHERE")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet, to compare it.")
@click.option("--new-card-serial", metavar="SERIAL", help="A new card whose sheet is on record.")
@accept_options()
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Show if the swap of the card at WHERE may begin, with every reason.

    A condition that was accepted stays visible, and counts while its evidence is the same. The
    sheet of the new card is kept with the swap.
    """
    return settings.ask(answer, SwapCheckQuestion(**options), _page)


def _page(screen: Screen, check: SwapCheckAnswer) -> None:
    screen.heading(f"Swap check for {check.where}")
    deviations(screen, check.accepted)
    screen.table(
        ("condition", "met", "required", "why"),
        [_row(condition) for condition in check.conditions],
    )
    if check.to_close:
        screen.say()
        screen.say("Required to close the swap, after loading:")
        screen.table(
            ("condition", "met", "required", "why"), [_row(entry) for entry in check.to_close]
        )
    screen.say()
    screen.say(CAUTION)
    screen.say()
    if not check.open:
        screen.say(
            f"No swap is open here. Open one with `parambak swap open {check.where}`. Then answer "
            'each condition that is required "in a swap".'
        )
    if check.ready and not check.open:
        screen.good("The records show nothing against a swap. Read every line above.")
        return
    if check.ready:
        screen.good("READY, by what is on record. Read every line above before you begin.")
        return
    screen.bad(f"NOT READY: {', '.join(check.missing)}. Do not take the card out yet.")
    if check.open:
        screen.points(check.steps)


def _row(entry: ConditionShown) -> tuple[str, str, str, str]:
    return entry.condition, MARKS[entry.met], _required(entry), entry.text


def _required(condition: ConditionShown) -> str:
    if condition.required:
        return "yes"
    return WHEN_OPEN if condition.required_when_open else "no"


def deviations(screen: Screen, texts: Sequence[str]) -> None:
    """Print the conditions that were accepted although not met: first on every page of a swap."""
    if not texts:
        return
    screen.warn("ACCEPTED DEVIATIONS in this swap:")
    screen.points(texts)
    screen.say()


def cautions(screen: Screen) -> None:
    """Print all cautions, where work on a card begins; elsewhere `CAUTION` leads to them."""
    screen.say("Cautions:")
    screen.points(CAUTIONS)
    screen.say()
