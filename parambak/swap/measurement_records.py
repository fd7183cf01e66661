"""Measurements on record: written, read with their drift, asked again if not possible."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict as fields_of
from datetime import date
from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

from msgspec.structs import asdict

from parambak.errors import CallRefused, Fault, VaultDamaged
from parambak.keeping.state import select
from parambak.keeping.state.bodies import (
    LimitsEntry,
    MeasuredBody,
    ReadingEntry,
    body_of,
    misshapen,
)
from parambak.keeping.state.counting import counting
from parambak.keeping.state.record_sets import local_time
from parambak.layouts.decimals import exact, rounded
from parambak.swap.measurements import ROUNDED, Measurement

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from fractions import Fraction

    from parambak.keeping.state.model import Card, Fleet, Position, Unit, Vessel
    from parambak.swap.limits import Limits
    from parambak.vault.vault import Stored, Vault, Writing

Stage = Literal["as-found", "as-left"]
STAGES: tuple[Stage, ...] = get_args(Stage)
AS_FOUND, AS_LEFT = STAGES

MEASURE_WHERE = Fault(
    "measure-where",
    CallRefused,
    "a measurement belongs to a unit or to one of its positions",
    "Write VESSEL/UNIT, or VESSEL/UNIT/POSITION.",
)


class MeasuringPoint(NamedTuple):
    """Where a measurement is taken: WHERE, its identities, and that of its vessel."""

    where: str
    ids: frozenset[str]
    vessel: str


class MeasurementRecord(NamedTuple):
    """One record of measurements: the day of the readings, and who took them (a mark)."""

    record: str
    on: date
    stage: str
    readings: tuple[Measurement, ...]
    by: str | None
    limits: LimitsEntry | None
    instrument: str | None
    calibrated: str | None
    remark: str | None
    visit: str | None


class Drift(NamedTuple):
    """How one measurement moved: its readings by day, oldest first, and the change since."""

    name: str
    unit: str
    series: tuple[tuple[date, str], ...]
    since_last: str | None
    since_first: str | None


def measuring_point(fleet: Fleet, where: str) -> MeasuringPoint:
    """Return the unit, card or position of a WHERE; raise if it names another thing."""
    parts = select.parse_where(where)
    vessel = select.find_vessel(fleet, parts.vessel)
    if parts.holder is None:
        raise MEASURE_WHERE.error(expected="VESSEL/UNIT", found=repr(where[:80]))
    holder: Unit | Card | Position = select.find_holder(vessel, parts.holder)
    if parts.position is not None:
        holder = select.find_position(fleet, where)
    return MeasuringPoint(holder.where, holder.ids, vessel.home(min(holder.ids)))


def records_aboard(vault: Vault, vessel: Vessel) -> tuple[tuple[str, MeasurementRecord], ...]:
    """Return what was measured aboard, each behind the identity it is about, oldest first.

    A record without a readable body is left out: recheck names it.
    """
    measured = []
    for identity in sorted(vessel.ids):
        for stored in counting(vault, identity):
            if stored.record.kind == "measured":
                with suppress(VaultDamaged):
                    body = body_of(stored.record, stored.digest, MeasuredBody)
                    measured.append((body.about, _measured(stored, body)))
    return tuple(sorted(measured, key=lambda pair: pair[1].on))


def only_at(
    aboard: Iterable[tuple[str, MeasurementRecord]], ids: frozenset[str]
) -> tuple[MeasurementRecord, ...]:
    """Return those of `records_aboard` that are about these identities, oldest first."""
    return tuple(record for about, record in aboard if about in ids)


def records_of(vault: Vault, vessel: Vessel, ids: frozenset[str]) -> tuple[MeasurementRecord, ...]:
    """Return what was measured at the things of these identities, oldest first."""
    return only_at(records_aboard(vault, vessel), ids)


def _measured(stored: Stored, body: MeasuredBody) -> MeasurementRecord:
    return MeasurementRecord(
        stored.digest,
        _day(body.on, stored.digest) or local_time(stored.record).date(),
        body.stage,
        tuple(Measurement(**asdict(reading)) for reading in body.readings),
        stored.record.by,
        body.limits,
        body.instrument,
        body.calibrated,
        body.remark,
        body.visit,
    )


def _day(text: str | None, record: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError as error:
        raise misshapen(record, "a day such as 2026-03-01", repr(text)[:40]) from error


def record(  # noqa: PLR0913 - the facts of one round of measurements, all by keyword
    writing: Writing,
    at: MeasuringPoint,
    readings: Sequence[Measurement],
    *,
    stage: str,
    limits: tuple[str, bytes] | LimitsEntry | None,
    instrument: str | None,
    calibrated: str | None,
    on: str | None,
    visit: str | None,
    by: str | None,
    remark: str | None,
) -> None:
    """Put readings on record; `limits` are a file's name and bytes, or the entry of a kept one."""
    if isinstance(limits, tuple):
        limits = LimitsEntry(sha256=writing.put(limits[1]), name=limits[0])
    body = MeasuredBody(
        about=min(at.ids),
        stage=stage,
        readings=tuple(ReadingEntry(**fields_of(reading)) for reading in readings),
        on=on,
        limits=limits,
        instrument=instrument,
        calibrated=calibrated,
        visit=visit,
        remark=remark,
    )
    mark = writing.person(by, at.vessel) if by else None
    relies_on = [limits.sha256] if limits is not None else []
    writing.add("measured", at.vessel, body.members(), by=mark, relies_on=relies_on)


def newest(
    earlier: Iterable[MeasurementRecord],
) -> dict[str, tuple[MeasurementRecord, Measurement]]:
    """Return each measurement's newest reading or reason, by name in lower case."""
    by_name = {}
    for measured in earlier:
        for reading in measured.readings:
            by_name[reading.name.casefold()] = (measured, reading)
    return by_name


def asked_again(
    earlier: Iterable[MeasurementRecord], now: Iterable[Measurement]
) -> tuple[Measurement, ...]:
    """Return what was not possible last time, and is not among the readings now."""
    taken = {reading.name.casefold() for reading in now}
    last = newest(earlier)
    return tuple(
        reading
        for name, (_, reading) in sorted(last.items())
        if reading.not_possible is not None and name not in taken
    )


def not_asked(limits: Limits | None, now: Iterable[Measurement]) -> tuple[str, ...]:
    """Return the measurements of the limits that were not given."""
    taken = {reading.name.casefold() for reading in now}
    stated = limits.measurement if limits is not None else ()
    return tuple(limit.name for limit in stated if limit.name.casefold() not in taken)


def drift(
    earlier: Iterable[MeasurementRecord], now: Iterable[Measurement], today: date
) -> tuple[Drift, ...]:
    """Return how each measurement of `now` moved since it was last and first taken."""
    drifts = []
    past = list(earlier)
    for reading in now:
        value = reading.exact
        if value is None:
            continue
        series = [
            (measured.on, before_reading.value or "", _change(before, value))
            for measured in past
            for before_reading in measured.readings
            if before_reading.name.casefold() == reading.name.casefold()
            and before_reading.unit == reading.unit
            and (before := before_reading.exact) is not None
        ]
        since = [change for _, _, change in series]
        values = [(on, text) for on, text, _ in series]
        drifts.append(
            Drift(
                reading.name,
                reading.unit,
                (*values, (today, reading.value or "")),
                since[-1] if since else None,
                since[0] if since else None,
            )
        )
    return tuple(drifts)


def _change(before: Fraction, after: Fraction) -> str:
    change = after - before
    text = exact(change) or rounded(change, ROUNDED)
    return text if text.startswith("-") else f"+{text}"


def overdue(limits: Limits | None, calibrated: str | None, today: date) -> str | None:
    """Return in words that the instrument's calibration is too old for the limits, else None."""
    months = limits.head.calibration_months if limits is not None else None
    if months is None:
        return None
    if calibrated is None:
        return f"the instrument's calibration date was not given; {months} months are the longest"
    day = date.fromisoformat(calibrated)
    passed = (today.year - day.year) * 12 + today.month - day.month - (today.day < day.day)
    if passed < months:
        return None
    return f"the instrument was calibrated on {calibrated}, more than {months} months ago"


def supplies(earlier: Iterable[MeasurementRecord]) -> tuple[bool | None, str]:
    """Return whether the newest readings of the supplies are inside their limits, and why.

    None if no supply was measured against limits, or one was not possible.
    """
    taken = [(m, r) for m, r in newest(earlier).values() if r.supply]
    if not taken:
        return None, "no supply was measured; record it with `measure`"
    out = [f"{r.name} {r.value} {r.unit}: {r.words}" for _, r in taken if r.within is False]
    if out:
        return False, f"{'; '.join(out)}. A bad supply also destroys the new card"
    unknown = [f"{r.name}: {r.words}" for _, r in taken if r.within is None]
    if unknown:
        return None, "; ".join(unknown)
    listed = ", ".join(f"{r.name} {r.value} {r.unit} ({m.on})" for m, r in taken)
    return True, f"inside their limits: {listed}"
