"""`measure`: readings of an instrument, held against limits that the user or maker states."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings, past_day
from parambak.errors import ParambakError, VaultDamaged
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.visits import the_open_visit
from parambak.swap import measurement_records
from parambak.swap.limits import Limits, load_limits
from parambak.swap.measurements import Measurement, read_measurements
from parambak.vault.files.given import read_given

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.keeping.state.bodies import LimitsEntry
    from parambak.vault.vault import Vault


@dataclass(frozen=True)
class _Words:
    """The command's options, as typed."""

    readings: tuple[str, ...]
    not_possible: tuple[str, ...]
    limits: str | None
    stage: str
    instrument: str | None
    calibrated: str | None
    on: str | None
    by: str | None
    remark: str | None


@dataclass(frozen=True)
class _Stated:
    """The limits that hold: given in this call, or the last on record; None where none do."""

    limits: Limits | None = None
    given: tuple[str, bytes] | LimitsEntry | None = None


@dataclass(frozen=True)
class _Found:
    """What is answered."""

    where: str
    stage: str
    readings: tuple[Measurement, ...]
    drift: tuple[measurement_records.Drift, ...]
    asked_again: tuple[Measurement, ...]
    not_given: tuple[str, ...]
    limits: Limits | None


@parambak_command(
    "measure",
    example="parambak measure grebe/port-thruster logic_supply=5,02V --limits LIMITS.TOML",
)
@click.argument("where", metavar="WHERE")
@click.argument("readings", metavar="NAME=VALUE…", nargs=-1)
@click.option(
    "--not-possible", metavar="NAME=REASON", multiple=True, help="Why it could not be measured."
)
@click.option("--limits", metavar="FILE", help="The limits (TOML); they hold here from now on.")
@click.option(
    "--stage",
    type=click.Choice(measurement_records.STAGES),
    default=measurement_records.AS_FOUND,
    show_default=True,
    help="Before the card comes out, or after it was fitted.",
)
@click.option("--instrument", metavar="TEXT", help="What it was measured with.")
@click.option("--calibrated", metavar="DATE", help="When the instrument was last calibrated.")
@click.option("--on", metavar="DATE", help="The day of the readings; else today.")
@click.option("--by", metavar="PERSON", help="Who measured; an open visit remembers it.")
@click.option("--remark", metavar="TEXT", help="Anything worth knowing.")
@pass_settings
def command(settings: Settings, /, where: str, **options: Any) -> Answer:
    """Put readings at a unit on record, and say whether each is inside its limits.

    A decimal comma will do, and the value is shown as it was understood. A speed may be
    given in Hz where the limits state the teeth of the wheel.
    """
    words = _Words(**options)
    vault = store.open_vault(settings)
    known = fleet(vault)
    at = measurement_records.measuring_point(known, where)
    vessel = select.vessel_at(known, where)
    earlier = measurement_records.records_of(vault, vessel, at.ids)
    stated = _stated(vault, words.limits, earlier)
    by_name = stated.limits.by_name if stated.limits is not None else None
    readings = read_measurements(words.readings, words.not_possible, by_name)
    today = settings.clock().date()
    if words.on:
        today = date.fromisoformat(past_day(settings, words.on))
    calibrated = past_day(settings, words.calibrated) if words.calibrated else None
    found = _Found(
        at.where,
        words.stage,
        readings,
        measurement_records.drift(earlier, readings, today),
        measurement_records.asked_again(earlier, readings),
        measurement_records.not_asked(stated.limits, readings),
        stated.limits,
    )
    notes: tuple[str, ...] = ()
    if readings:
        _keep(vault, at, readings, words, stated, today, calibrated)
        late = measurement_records.overdue(stated.limits, calibrated, today)
        notes = (late,) if late else ()
    outside = any(reading.within is False for reading in readings)
    return Answer(
        _document(found),
        lambda screen: _page(screen, found, calibrated, words.instrument),
        exit_code=1 if outside else 0,
        warnings=(*store.warnings_of(vault), *notes),
    )


def _stated(
    vault: Vault, path: str | None, earlier: Sequence[measurement_records.MeasurementRecord]
) -> _Stated:
    """Return the limits of the file named, else those last kept here."""
    if path is not None:
        data = read_given(path, given_files.TEXT_BYTES).data
        try:
            return _Stated(load_limits(data), (Path(path).name, data))
        except ParambakError as error:
            raise error.in_file(path) from error
    kept = next((each.limits for each in reversed(earlier) if each.limits), None)
    if kept is None:
        return _Stated()
    return _Stated(load_limits(vault.read_object(kept.sha256)), kept)


def _keep(  # noqa: PLR0913, PLR0917 - what is known of one round of measuring
    vault: Vault,
    at: measurement_records.MeasuringPoint,
    readings: tuple[Measurement, ...],
    words: _Words,
    stated: _Stated,
    today: date,
    calibrated: str | None,
) -> None:
    """Put the readings on record, with what an open visit remembers."""
    reasons = [("reason", reading.not_possible, REMARK) for reading in readings]
    check_texts(
        [
            ("instrument", words.instrument, NAME),
            ("name of the person", words.by, NAME),
            ("remark", words.remark, REMARK),
            *reasons,
        ]
    )
    with vault.writing() as writing:
        known = fleet(vault)
        visit = the_open_visit(known, vault.writer, select.parse_where(at.where).vessel)
        measurement_records.record(
            writing,
            at,
            readings,
            stage=words.stage,
            limits=stated.given,
            instrument=words.instrument,
            calibrated=calibrated,
            on=today.isoformat(),
            visit=visit[1].id if visit else None,
            by=words.by or _visitor(vault, visit[1].by if visit else None),
            remark=words.remark,
        )


def _visitor(vault: Vault, mark: str | None) -> str | None:
    try:
        return vault.person(mark) if mark else None
    except VaultDamaged:
        return None  # a name that is lost stops no reading


def _document(found: _Found) -> dict[str, Any]:
    return {
        "where": found.where,
        "stage": found.stage,
        "readings": [
            {
                "name": each.name,
                "value": each.value,
                "unit": each.unit,
                "typed": each.typed,
                "low": each.low,
                "high": each.high,
                "within": each.within,
                "by": each.by,
                "not_possible": each.not_possible,
            }
            for each in found.readings
        ],
        "drift": [
            {
                "name": each.name,
                "unit": each.unit,
                "series": [{"on": on.isoformat(), "value": value} for on, value in each.series],
                "since_last": each.since_last,
                "since_first": each.since_first,
            }
            for each in found.drift
        ],
        "asked_again": [{"name": r.name, "reason": r.not_possible} for r in found.asked_again],
        "not_given": list(found.not_given),
    }


def _page(screen: Screen, found: _Found, calibrated: str | None, instrument: str | None) -> None:
    screen.heading(f"Measurements at {found.where}, {found.stage}")
    if found.limits is not None:
        source = found.limits.head.source
        screen.facts([("limits", found.limits.head.title), ("stated by", source)], indent=0)
    if instrument:
        since = f", calibrated {calibrated}" if calibrated else ", calibration not given"
        screen.facts([("instrument", instrument + since)], indent=0)
    if found.readings:
        screen.say()
        moved = {each.name: each for each in found.drift}
        screen.table(
            ("measurement", "value", "limits", "answer", "since last"),
            [_row(each, moved.get(each.name)) for each in found.readings],
            right=(1,),
        )
    screen.say()
    understood = [f"{r.typed} as {r.value} {r.unit}" for r in found.readings if r.typed]
    if understood:
        screen.say(f"Understood: {'; '.join(understood)}.")
    for each in found.asked_again:
        screen.say(f"Still to be measured: {each.name}. It was not possible: {each.not_possible}.")
    if found.not_given:
        screen.say(f"Stated in the limits and not given: {', '.join(found.not_given)}.")
    _verdict(screen, found)


def _row(reading: Measurement, moved: measurement_records.Drift | None) -> tuple[str, ...]:
    value = "" if reading.value is None else f"{reading.value} {reading.unit}".strip()
    since = moved.since_last if moved is not None else None
    return (reading.name, value, _limits(reading), reading.words, since or "")


def _limits(reading: Measurement) -> str:
    if reading.low is not None and reading.high is not None:
        return f"{reading.low} to {reading.high}"
    if reading.low is not None:
        return f"from {reading.low}"
    return f"to {reading.high}" if reading.high is not None else "none stated"


def _verdict(screen: Screen, found: _Found) -> None:
    outside = [each.name for each in found.readings if each.within is False]
    unknown = [each.name for each in found.readings if each.within is None]
    if not found.readings:
        screen.mind("No reading was given, and nothing was put on record.")
    elif outside:
        screen.bad(f"OUTSIDE THE LIMITS: {', '.join(outside)}. On record all the same.")
        screen.say("Find the cause before any card is changed; then measure again.")
    elif unknown:
        screen.mind(f"On record. Not known: {', '.join(unknown)}.")
    else:
        screen.good("On record: all inside their limits.")
