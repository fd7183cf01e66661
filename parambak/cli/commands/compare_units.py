"""`compare-units`: units of one layout held against each other, the most unlike first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.compare_units import CompareUnitsQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.compare_units import CompareUnitsAnswer, UnlikeShown
    from parambak.cli.screen import Screen

MOST_ROWS = 40  # on the page; --json has them all
MOST_NAMED = 4  # fields of the most unlike one, in the answer


@parambak_command("compare-units", example="parambak compare-units grebe")
@click.argument("where", metavar="[WHERE]", required=False)
@click.option(
    "--on-purpose",
    metavar="FIELD",
    help="This field of WHERE differs on purpose: leave it out from here on; with --reason.",
)
@click.option("--reason", metavar="TEXT", help="With --on-purpose: why it differs.")
@click.option("--by", metavar="PERSON", help="With --on-purpose: who says so.")
@click.option("--withdraw", is_flag=True, help="With --on-purpose: look at it again.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str | None,
    on_purpose: str | None,
    reason: str | None,
    by: str | None,
    withdraw: bool,
) -> Answer:
    """Say where units of one layout differ from each other, the most unlike first.

    WHERE is a vessel, a unit or a position: then what is unlike there is shown, held
    against the whole fleet. Without it, all are shown. Counters, clocks and what is the
    unit's or the card's own are not compared.
    """
    question = CompareUnitsQuestion(
        where=where, on_purpose=on_purpose, reason=reason, by=by, withdraw=withdraw
    )
    return settings.ask(answer, question, _page)


def _page(screen: Screen, alike: CompareUnitsAnswer) -> None:
    for group in alike.groups:
        screen.heading(f"{group.layout}: {counted(len(group.units), 'unit')} of this layout")
        if group.different:
            rows = [_row(value) for value in group.different[:MOST_ROWS]]
            screen.table(("where", "field", "value", "the others", "differs from"), rows)
            if len(group.different) > MOST_ROWS:
                screen.say(f"and {len(group.different) - MOST_ROWS} more; --json lists them all.")
        else:
            screen.say("Nothing is unlike the rest.")
        screen.say()
    if alike.on_purpose:
        screen.say("Left out, since it is so on purpose:")
        screen.points(f"{mark.where} {mark.field}: {mark.reason}" for mark in alike.on_purpose)
    if alike.without_layout:
        names = ", ".join(alike.without_layout)
        screen.say(f"Not compared, for want of a layout or its bytes: {names}.")
    _verdict(screen, alike)


def _row(value: UnlikeShown) -> tuple[str, ...]:
    measure = (
        f"{float(value.score):+.1f} spreads"
        if value.score is not None
        else f"{value.same} of {value.units}"
    )
    unit = f" {value.unit}" if value.unit else ""
    return (value.where, value.field, f"{value.value}{unit}", value.usual, measure)


def _verdict(screen: Screen, alike: CompareUnitsAnswer) -> None:
    if not alike.groups:
        screen.mind("There are no two units of one layout to hold against each other.")
        return
    if alike.most_different is None:
        screen.good("No unit differs from those like it.")
        return
    where, fields = alike.most_different.where, alike.most_different.fields
    more = len(fields) - MOST_NAMED
    names = ", ".join(fields[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    screen.mind(f"Most unlike the rest: {where}, in {counted(len(fields), 'value')}: {names}.")
    screen.say(f"When did it become so: `parambak history {where} --field {fields[0]}`.")
    screen.say(
        f"Meant to differ, and left out from here on: `parambak compare-units {where} --on-purpose "
        "FIELD --reason TEXT`."
    )
