"""`measure`: readings of an instrument, compared with limits that the user or maker states."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.measure import MeasureQuestion
from parambak.cli.command import asks
from parambak.swap.measurement_records import AS_FOUND, STAGES

if TYPE_CHECKING:
    from parambak.answers.measure import DriftShown, MeasureAnswer, ReadingShown
    from parambak.cli.screen import Screen


@asks(
    MeasureQuestion,
    example="parambak measure grebe/port-thruster core_rail=3,31V --limits LIMITS.TOML",
)
@click.argument("where", metavar="WHERE")
@click.argument("readings", metavar="NAME=VALUE…", nargs=-1)
@click.option(
    "--not-possible",
    metavar="NAME=REASON",
    multiple=True,
    help="A measurement that was not possible, and why.",
)
@click.option("--limits", metavar="FILE", help="The limits (TOML). They apply here from now on.")
@click.option(
    "--stage",
    type=click.Choice(STAGES),
    default=AS_FOUND,
    show_default=True,
    help="Before the card comes out, or after it was fitted.",
)
@click.option("--instrument", metavar="TEXT", help="The instrument that was used.")
@click.option("--calibrated", metavar="DATE", help="When the instrument was last calibrated.")
@click.option("--on", metavar="DATE", help="The day of the readings. Default: today.")
@click.option("--by", metavar="PERSON", help="Who measured. Default: the person of the open visit.")
@click.option("--remark", metavar="TEXT", help="A remark, kept with the readings.")
def command(screen: Screen, measured: MeasureAnswer) -> None:
    """Record readings at a unit, and show if each is inside its limits.

    A decimal comma is accepted; the answer shows the value as it was understood. A speed
    can be given in Hz if the limits state the teeth of the wheel.
    """
    screen.heading(f"Measurements at {measured.where}, {measured.stage}")
    limits, readings = measured.limits, measured.readings
    if limits is not None:
        screen.facts([("limits", limits.title), ("source", limits.source)], indent=0)
    if measured.instrument:
        day = measured.calibrated
        since = f", calibrated {day}" if day else ", calibration not recorded"
        screen.facts([("instrument", measured.instrument + since)], indent=0)
    if readings:
        screen.say()
        moved = {drift.name: drift for drift in measured.drift}
        screen.table(
            ("measurement", "value", "limits", "answer", "since last"),
            [_row(reading, moved.get(reading.name)) for reading in readings],
            right=(1,),
        )
    screen.say()
    understood = [f"{r.typed} as {r.value} {r.unit}" for r in readings if r.typed]
    if understood:
        screen.say(f"Understood: {'; '.join(understood)}.")
    for again in measured.asked_again:
        screen.say(
            f"Still to be measured: {again.name}. It was not possible last time: {again.reason}."
        )
    if measured.not_given:
        screen.say(f"In the limits, and not measured: {', '.join(measured.not_given)}.")
    _verdict(screen, readings)


def _row(reading: ReadingShown, moved: DriftShown | None) -> tuple[str, ...]:
    value = "" if reading.value is None else f"{reading.value} {reading.unit}".strip()
    since = moved.since_last if moved is not None else None
    return (reading.name, value, _limits(reading), reading.text, since or "")


def _limits(reading: ReadingShown) -> str:
    if reading.low is not None and reading.high is not None:
        return f"{reading.low} to {reading.high}"
    if reading.low is not None:
        return f"from {reading.low}"
    return f"to {reading.high}" if reading.high is not None else "none stated"


def _verdict(screen: Screen, readings: tuple[ReadingShown, ...]) -> None:
    outside = [reading.name for reading in readings if reading.within is False]
    unknown = [reading.name for reading in readings if reading.within is None]
    if not readings:
        screen.bad("No reading was given, and nothing was put on record.")
        screen.say("Give each reading as NAME=VALUE, such as core_rail=3.31V.")
    elif outside:
        screen.bad(f"OUTSIDE THE LIMITS: {', '.join(outside)}. The readings are on record.")
        screen.say("Find the cause before any card is changed; then measure again.")
    elif unknown:
        screen.warn(f"On record. Not judged: {', '.join(unknown)}.")
    else:
        screen.good("On record: all readings are inside their limits.")
