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

    from parambak.answers.swap.check import SwapCheckAnswer
    from parambak.cli.screen import Screen


@parambak_command("check", example="parambak swap check grebe/port-thruster/U12")
@click.argument("where", metavar="WHERE")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet, to compare.")
@click.option(
    "--accept",
    metavar="CONDITION",
    help="Accept this one condition though it is not met; with --by, --reason and --confirm.",
)
@click.option("--confirm", metavar="CONDITION", help="With --accept: the condition, typed again.")
@click.option("--by", metavar="PERSON", help="With --accept: who takes it on.")
@click.option("--reason", metavar="TEXT", help="With --accept: why.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Say whether the swap of the card at WHERE may begin, and every reason.

    A condition that is accepted stays visible from then on, and the answer is yes only in
    the call that accepted it.
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
                "yes" if condition.required else "no",
                condition.text,
            )
            for condition in check.conditions
        ],
    )
    screen.say()
    cautions(screen)
    if not check.open:
        screen.say(
            f"No swap is open here. `parambak swap open {check.where}` opens one: who decides, the "
            "permit and the way back are then asked for, and go on record."
        )
    if check.ready:
        screen.good("READY, as far as the record goes. Mind every line above.")
        return
    screen.bad(f"NOT READY: {', '.join(check.missing)}. Do not take the card out yet.")
    if check.open:
        _next(screen, check)


def _next(screen: Screen, check: SwapCheckAnswer) -> None:
    """Say what to do about each condition that is wanting, and what was accepted of them."""
    accepted = {deviation.condition for deviation in check.deviations}
    left = [name for name in check.missing if name not in accepted]
    if not left:
        screen.say(
            "All of these were accepted as deviations: the answer stays no, and whoever goes on "
            "does so on the names and reasons above."
        )
        return
    if len(left) < len(check.missing):
        screen.say(f"Accepted as deviations, and not met: {', '.join(sorted(accepted))}.")
    answerable = [name for name in left if name in check.answerable]
    if answerable:
        words = " ".join(f"'{name}=yes: TEXT'" for name in answerable[:2])
        screen.say(
            "Tell what a person knows, in one call if you like: `parambak swap answer "
            f"{check.where} {words} --by NAME`."
        )
    screen.say(
        "In an emergency one condition at a time can be accepted, by name and reason: `parambak "
        f"swap check {check.where} --accept {left[0]} --confirm {left[0]} --by NAME "
        "--reason TEXT`."
    )


def deviations(screen: Screen, texts: Sequence[str]) -> None:
    """Print what was accepted though not met: first on every page of the swap."""
    if not texts:
        return
    screen.mind("ACCEPTED DEVIATIONS in this swap:")
    screen.points(texts)
    screen.say()


def cautions(screen: Screen) -> None:
    """Print the cautions that go with every step of a swap."""
    screen.say("Cautions:")
    screen.points(CAUTIONS)
    screen.say()
