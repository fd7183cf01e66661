"""`swap check`: whether the swap may begin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.check import SwapCheckQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.swap.readiness import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.swap.check import ConditionShown, SwapCheckAnswer
    from parambak.cli.screen import Screen


CAUTION = (
    "Caution: the unit can hurt people. Isolate it. Follow the maker and the permit to work. "
    "Test before service. All cautions: `parambak report swap`."
)
"""The hazard in short, and where the full cautions are."""
WHEN_OPEN = "when open"
"""What the page shows of a condition that is required once a swap is open."""


@parambak_command("check", example="parambak swap check grebe/port-thruster/U12")
@click.argument("where", metavar="WHERE")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet, to compare it.")
@click.option(
    "--accept",
    metavar="CONDITION",
    help="Accept this one condition although it is not met. Needs --by, --reason and --confirm.",
)
@click.option("--confirm", metavar="CONDITION", help="With --accept: the condition, typed again.")
@click.option("--by", metavar="PERSON", help="With --accept: who accepts it.")
@click.option("--reason", metavar="TEXT", help="With --accept: why.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Show if the swap of the card at WHERE may begin, with every reason.

    A condition that was accepted stays visible. The answer is yes only in the call that
    accepts it.
    """
    return settings.ask(answer, SwapCheckQuestion(**options), _page)


def _page(screen: Screen, check: SwapCheckAnswer) -> None:
    screen.heading(f"Swap check for {check.where}")
    deviations(screen, check.accepted)
    screen.table(
        ("condition", "met", "required", "why"),
        [
            (
                condition.condition,
                MARKS[condition.met],
                _required(condition),
                condition.text,
            )
            for condition in check.conditions
        ],
    )
    screen.say()
    screen.say(CAUTION)
    screen.say()
    if not check.open:
        screen.say(
            f"No swap is open here. Open one with `parambak swap open {check.where}`. Then answer "
            'each condition that is required "when open".'
        )
    if check.ready:
        screen.good("READY, by what is on record. Read every line above before you begin.")
        return
    screen.bad(f"NOT READY: {', '.join(check.missing)}. Do not take the card out yet.")
    if check.open:
        _next(screen, check)


def _required(condition: ConditionShown) -> str:
    if condition.required:
        return "yes"
    return WHEN_OPEN if condition.required_when_open else "no"


def _next(screen: Screen, check: SwapCheckAnswer) -> None:
    """Print what to do about each missing condition, and which of them were accepted."""
    accepted = {deviation.condition for deviation in check.deviations}
    left = [name for name in check.missing if name not in accepted]
    if not left:
        screen.say(
            "All of these were accepted as deviations, and the answer stays no. A person who "
            "continues relies on the names and reasons above."
        )
        return
    if len(left) < len(check.missing):
        screen.say(f"Accepted as deviations, and not met: {', '.join(sorted(accepted))}.")
    answerable = [name for name in left if name in check.answerable]
    if answerable:
        words = " ".join(f"'{name}=yes: TEXT'" for name in answerable[:2])
        screen.say(
            "Record what a person knows, one or more conditions in a call: `parambak swap answer "
            f"{check.where} {words} --by NAME`."
        )
    screen.say(
        "In an emergency, accept one condition at a time, with your name and a reason: `parambak "
        f"swap check {check.where} --accept {left[0]} --confirm {left[0]} --by NAME "
        "--reason TEXT`."
    )


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
