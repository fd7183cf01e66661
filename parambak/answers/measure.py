"""Readings of an instrument, compared with limits that the user or maker states."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple

from parambak.answers.forms import NO, YES, Answer, Part, Question
from parambak.answers.given_files import limits_file
from parambak.errors import VaultDamaged
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.visits import the_open_visit
from parambak.swap import measurement_records
from parambak.swap.limits import load_limits
from parambak.swap.measurements import read_measurements

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.session import Session
    from parambak.keeping.state.bodies import LimitsEntry
    from parambak.keeping.state.model import Visit
    from parambak.swap.limits import Limits
    from parambak.swap.measurements import Measurement
    from parambak.vault.vault import Vault


class MeasureQuestion(Question["MeasureAnswer"], frozen=True):
    """The unit or position, the readings (NAME=VALUE), and what could not be measured and why.

    `limits` is a file; `stage` is as-found or as-left; `calibrated` and `on` are days,
    `on` today where it is not given.
    """

    where: str
    readings: tuple[str, ...] = ()
    not_possible: tuple[str, ...] = ()
    limits: str | None = None
    stage: measurement_records.Stage = measurement_records.AS_FOUND
    instrument: str | None = None
    calibrated: str | None = None
    on: str | None = None
    by: str | None = None
    remark: str | None = None


class ReadingShown(Part, frozen=True):
    """One reading, its limits then, and whether it is inside them, by how much and in words.

    `value` is null where it was not possible, `typed` where it is the same text; `within` is
    null where there is no value or no limit.
    """

    name: str
    value: str | None
    unit: str
    typed: str | None
    low: str | None
    high: str | None
    within: bool | None
    by: str | None
    not_possible: str | None
    text: str


class DayValueShown(Part, frozen=True):
    """What was read on a day."""

    on: str
    value: str


class DriftShown(Part, frozen=True):
    """How one measurement moved: its values, oldest first, and the change since; null if new."""

    name: str
    unit: str
    series: tuple[DayValueShown, ...]
    since_last: str | None
    since_first: str | None


class AskedAgainShown(Part, frozen=True):
    """A measurement that was not possible when it was last asked, and why."""

    name: str
    reason: str | None


class LimitsShown(Part, frozen=True):
    """The limits that hold, and who states them."""

    title: str
    source: str


class MeasureAnswer(Answer, frozen=True):
    """The readings, which are on record, and how they moved.

    `not_given` are the measurements that the limits state and that were not given; `limits` is
    null where none are stated.
    """

    where: str
    stage: str
    readings: tuple[ReadingShown, ...]
    drift: tuple[DriftShown, ...]
    asked_again: tuple[AskedAgainShown, ...]
    not_given: tuple[str, ...]
    limits: LimitsShown | None
    instrument: str | None
    calibrated: str | None

    @property
    def exit_code(self) -> int:
        """Return 0 if there is a reading and none is outside its limits."""
        outside = any(reading.within is False for reading in self.readings)
        return NO if outside or not self.readings else YES


class _Stated(NamedTuple):
    """The limits that hold: given in this call, or the last on record; None where none do."""

    limits: Limits | None = None
    given: tuple[str, bytes] | LimitsEntry | None = None


class _Round(NamedTuple):
    """One round of measuring, and the visit that is open, or None.

    `calibrated` is the day of the instrument's calibration.
    """

    at: measurement_records.MeasuringPoint
    readings: tuple[Measurement, ...]
    stated: _Stated
    on: date
    calibrated: str | None
    visit: Visit | None


def answer(session: Session, question: MeasureQuestion) -> MeasureAnswer:
    """Put the readings on record and judge them; without any nothing is put on record.

    Raise CallRefused, SheetRefused for the file of limits, NotFound, VaultRefused or
    VaultDamaged.
    """
    fleet = session.fleet()
    at = measurement_records.measuring_point(fleet, question.where)
    vessel = select.vessel_at(fleet, question.where)
    earlier = measurement_records.records_of(session.vault, vessel, at.ids)
    stated = _stated(session.vault, question.limits, earlier)
    by_name = stated.limits.by_name if stated.limits is not None else None
    readings = read_measurements(question.readings, question.not_possible, by_name)
    visited = the_open_visit(fleet, session.vault.writer, select.parse_where(at.where).vessel)
    on = session.clock().date() if visited is None else visited[1].day(session.clock().date())
    if question.on is not None:
        on = date.fromisoformat(session.past_day(question.on))
    calibrated = session.past_day(question.calibrated) if question.calibrated else None
    visit = visited[1] if visited is not None else None
    measured = _Round(at, readings, stated, on, calibrated, visit)
    if readings:
        _keep(session, question, measured)
        late = measurement_records.overdue(stated.limits, calibrated, on)
        session.note(*([late] if late else []))
    return _answer(question, measured, earlier)


def _stated(
    vault: Vault, path: str | None, earlier: Sequence[measurement_records.MeasurementRecord]
) -> _Stated:
    """Return the limits of the file named, else those last kept here."""
    if path is not None:
        name, data, limits = limits_file(path)
        return _Stated(limits, (name, data))
    kept = next((record.limits for record in reversed(earlier) if record.limits), None)
    if kept is None:
        return _Stated()
    return _Stated(load_limits(vault.read_object(kept.sha256)), kept)


def _keep(session: Session, question: MeasureQuestion, measured: _Round) -> None:
    """Put the readings on record, with what an open visit remembers."""
    vault, at = session.vault, measured.at
    reasons = [("reason", reading.not_possible, REMARK) for reading in measured.readings]
    check_texts(
        [
            ("instrument", question.instrument, NAME),
            ("name of the person", question.by, NAME),
            ("remark", question.remark, REMARK),
            *reasons,
        ]
    )
    with vault.writing() as writing:
        measurement_records.record(
            writing,
            at,
            measured.readings,
            stage=question.stage,
            limits=measured.stated.given,
            instrument=question.instrument,
            calibrated=measured.calibrated,
            on=measured.on.isoformat(),
            visit=measured.visit.id if measured.visit else None,
            by=question.by or _visitor(vault, measured.visit.by if measured.visit else None),
            remark=question.remark,
        )


def _visitor(vault: Vault, mark: str | None) -> str | None:
    try:
        return vault.person(mark) if mark else None
    except VaultDamaged:
        return None  # a name that is lost stops no reading


def _answer(
    question: MeasureQuestion,
    measured: _Round,
    earlier: Sequence[measurement_records.MeasurementRecord],
) -> MeasureAnswer:
    readings, limits = measured.readings, measured.stated.limits
    drift = measurement_records.drift(earlier, readings, measured.on)
    again = measurement_records.asked_again(earlier, readings)
    return MeasureAnswer(
        where=measured.at.where,
        stage=question.stage,
        readings=tuple(_reading_shown(reading) for reading in readings),
        drift=tuple(_drift_shown(moved) for moved in drift),
        asked_again=tuple(AskedAgainShown(past.name, past.not_possible) for past in again),
        not_given=measurement_records.not_asked(limits, readings),
        limits=LimitsShown(limits.head.title, limits.head.source) if limits is not None else None,
        instrument=question.instrument,
        calibrated=measured.calibrated,
    )


def _reading_shown(reading: Measurement) -> ReadingShown:
    return ReadingShown(
        name=reading.name,
        value=reading.value,
        unit=reading.unit,
        typed=reading.typed,
        low=reading.low,
        high=reading.high,
        within=reading.within,
        by=reading.by,
        not_possible=reading.not_possible,
        text=reading.words,
    )


def _drift_shown(moved: measurement_records.Drift) -> DriftShown:
    series = tuple(DayValueShown(on.isoformat(), value) for on, value in moved.series)
    return DriftShown(**{**moved._asdict(), "series": series})
