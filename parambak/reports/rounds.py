"""Rounds of measuring as they are printed: each reading with its limits and its drift."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import ParambakError
from parambak.reports.parameters import limits
from parambak.swap import measurement_records
from parambak.swap.limits import load_limits

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.reports.parts import Desk
    from parambak.swap.limits import Limits
    from parambak.swap.measurement_records import Drift, MeasurementRecord
    from parambak.swap.measurements import Measurement


def rounds(
    desk: Desk, every: Sequence[MeasurementRecord], wanted: Iterable[str], where: str | None = None
) -> list[dict[str, Any]]:
    """Return the rounds of these records, each against all that was measured before it there."""
    chosen = set(wanted)
    return [
        _round(desk, each, every[:index], where)
        for index, each in enumerate(every)
        if each.record in chosen
    ]


def _round(
    desk: Desk, each: MeasurementRecord, earlier: Sequence[MeasurementRecord], where: str | None
) -> dict[str, Any]:
    drifts = {
        drift.name: drift for drift in measurement_records.drift(earlier, each.readings, each.on)
    }
    stated = _limits(desk, each)
    return {
        "where": where,
        "on": each.on.isoformat(),
        "stage": each.stage,
        "by": desk.person(each.by),
        "instrument": each.instrument,
        "calibrated": each.calibrated,
        "late": measurement_records.overdue(stated, each.calibrated, each.on),
        "limits": f"{each.limits.name}, SHA-256 {each.limits.sha256}" if each.limits else None,
        "remark": each.remark,
        "readings": [_reading(reading, drifts.get(reading.name)) for reading in each.readings],
        "not_given": measurement_records.not_asked(stated, each.readings),
    }


def _limits(desk: Desk, each: MeasurementRecord) -> Limits | None:
    """Return the limits that held then; None where there are none, or they cannot be had."""
    if each.limits is None:
        return None
    try:
        return load_limits(desk.assessor.vault.read_object(each.limits.sha256))
    except ParambakError:
        return None


def _reading(reading: Measurement, drift: Drift | None) -> dict[str, Any]:
    first = drift.series[0][0] if drift is not None and len(drift.series) > 1 else None
    return {
        "name": reading.name,
        "value": f"{reading.value} {reading.unit}".strip() if reading.value else "",
        "typed": _typed(reading),
        "limits": limits(reading.low, reading.high),
        "words": reading.words,
        "out": reading.within is False,
        "since_last": drift.since_last if drift is not None else None,
        "since_first": f"{drift.since_first} ({first})" if drift is not None and first else None,
    }


def _typed(reading: Measurement) -> str | None:
    """Return what was typed, where it is not what is shown; of a speed, the wheel's teeth."""
    if reading.typed is None:
        return None
    teeth = f", {reading.teeth} teeth" if reading.frequency is not None and reading.teeth else ""
    return f"typed {reading.typed}{teeth}"
