"""`compare-units`: units of one layout compared, the one that differs most first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.compare_units import CompareUnitsQuestion
from parambak.cli.command import asks
from parambak.differences.units import SCALE
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.compare_units import CompareUnitsAnswer, UnlikeShown
    from parambak.cli.screen import Screen

MOST_ROWS = 40  # on the page; --json has them all
MOST_NAMED = 4  # fields of the position that differs most, in the answer


@asks(CompareUnitsQuestion, example="parambak compare-units grebe")
@click.argument("where", metavar="[WHERE]", required=False)
@click.option(
    "--on-purpose",
    metavar="FIELD",
    help="This field of WHERE differs on purpose: leave it out from now on. Needs --reason.",
)
@click.option("--reason", metavar="TEXT", help="With --on-purpose: why it differs.")
@click.option("--by", metavar="PERSON", help="With --on-purpose: who states it.")
@click.option("--withdraw", is_flag=True, help="With --on-purpose: compare the field again.")
def command(screen: Screen, compared: CompareUnitsAnswer) -> None:
    """Show where units of one layout differ from each other, the one that differs most first.

    WHERE is a vessel, a unit or a position: its differences from the whole fleet are shown.
    Without WHERE, all are shown. Counters, clocks and values that belong to one unit or one
    card are not compared.
    """
    for group in compared.groups:
        screen.heading(f"{group.layout}: {counted(len(group.units), 'unit')} of this layout")
        if group.different:
            rows = [_row(value) for value in group.different[:MOST_ROWS]]
            screen.table(("where", "field", "value", "the others", "differs from"), rows)
            if len(group.different) > MOST_ROWS:
                screen.say(f"and {len(group.different) - MOST_ROWS} more; --json lists them all.")
        else:
            screen.say("No value differs from the others.")
        screen.say()
    if compared.on_purpose:
        screen.say("Left out, because it differs on purpose:")
        screen.points(f"{mark.where} {mark.field}: {mark.reason}" for mark in compared.on_purpose)
    if compared.without_layout:
        names = ", ".join(compared.without_layout)
        screen.say(f"Not compared, because the layout or the bytes are missing: {names}.")
    _verdict(screen, compared)


def _row(value: UnlikeShown) -> tuple[str, ...]:
    differs_from = (
        f"the median of {value.units} units: {_times_usual(value.score)} times the usual distance"
        if value.score is not None
        else f"{value.units - value.same} of {value.units} units"
    )
    unit = f" {value.unit}" if value.unit else ""
    return (value.where, value.field, f"{value.value}{unit}", value.usual, differs_from)


def _times_usual(score: str) -> str:
    """Return a modified z-score as a multiple of the median distance from the median."""
    return f"{abs(float(score)) / SCALE:.0f}"


def _verdict(screen: Screen, compared: CompareUnitsAnswer) -> None:
    if not compared.groups:
        screen.warn("No two units have the same layout, so nothing was compared.")
        return
    if compared.most_different is None:
        screen.good("No unit differs from the others of its layout.")
        return
    where, fields = compared.most_different.where, compared.most_different.fields
    more = len(fields) - MOST_NAMED
    names = ", ".join(fields[:MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
    screen.warn(f"Differs most: {where}, in {counted(len(fields), 'value')}: {names}.")
    screen.say(f"To see when it changed: `parambak history {where} --field {fields[0]}`.")
    screen.say(
        f"If it differs on purpose: `parambak compare-units {where} --on-purpose FIELD "
        "--reason TEXT`."
    )
