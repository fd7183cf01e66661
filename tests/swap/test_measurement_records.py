"""Measurements in the vault: all that was given with them comes back, at what it belongs to."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused
from parambak.keeping.state.bodies import LimitsEntry, MeasuredBody
from parambak.memory.digests import sha256
from parambak.swap.measurement_records import (
    MeasurementRecord,
    measuring_point,
    record,
    records_aboard,
)
from parambak.swap.measurements import Measurement
from tests.keeping.conftest import WHERE
from tests.swap.conftest import BY

if TYPE_CHECKING:
    from tests.keeping.conftest import Laptop

UNIT = "grebe/port-thruster"
LIMITS = b"the user's file of limits"
READING = Measurement("logic", "V", "5.02", typed="5,02", low="4.9", high="5.2", supply=True)


def measured(
    laptop: Laptop,
    limits: tuple[str, bytes] | LimitsEntry | None = None,
    where: str = UNIT,
    on: str | None = "2026-02-20",
) -> MeasurementRecord:
    """Put a reading on record, and return the newest record there is."""
    vault, point = laptop.vault, measuring_point(laptop.fleet, where)
    with vault.writing() as writing:
        record(
            writing,
            point,
            [READING],
            stage="as-left",
            limits=limits,
            instrument="multimeter 7",
            calibrated="2025-06-01",
            on=on,
            visit="ab" * 16,
            by=BY,
            remark="in port",
        )
    return records_aboard(laptop.vault, laptop.fleet.vessels[0])[-1][1]


def test_all_that_was_given_with_a_reading_comes_back(laptop: Laptop) -> None:
    """Day, stage, instrument with its calibration, remark, visit, and who it was."""
    found = measured(laptop)
    assert found == MeasurementRecord(
        found.record,
        date(2026, 2, 20),
        "as-left",
        (READING,),
        found.by,
        None,
        "multimeter 7",
        "2025-06-01",
        "in port",
        "ab" * 16,
    )
    assert laptop.vault.person(found.by or "") == BY
    assert measured(laptop, on=None).on == laptop.now.date()


def test_the_file_of_limits_is_kept_once_and_named_again(laptop: Laptop) -> None:
    """Years on, what a reading was judged by is still there to read."""
    entry = measured(laptop, ("limits.toml", LIMITS)).limits
    assert entry == LimitsEntry(sha256=sha256(LIMITS), name="limits.toml")
    assert laptop.vault.read_object(entry.sha256) == LIMITS
    assert measured(laptop, entry).limits == entry
    (vessel,) = laptop.vault.vessels()
    for stored in laptop.vault.records(vessel)[-2:]:
        assert entry.sha256 in stored.record.objects


def test_a_reading_belongs_to_the_unit_or_position_that_is_named(laptop: Laptop) -> None:
    """Never to the whole vessel: a supply is one unit's."""
    laptop.take(bytes(256), where="grebe/card:PC-1/U3")
    for where in (UNIT, WHERE, "grebe/card:PC-1"):
        point = measuring_point(laptop.fleet, where)
        assert point.where == where
        measured(laptop, where=where)
        assert records_aboard(laptop.vault, laptop.fleet.vessels[0])[-1][0] in point.ids
    with pytest.raises(CallRefused) as refusal:
        measuring_point(laptop.fleet, "grebe")
    assert refusal.value.code == "measure-where"
    assert refusal.value.expected == "VESSEL/UNIT"
    assert refusal.value.found == "'grebe'"


def test_a_record_with_a_day_that_is_none_is_left_out(laptop: Laptop) -> None:
    """One spoilt record does not take the others away."""
    good = measured(laptop)
    (vessel,) = laptop.vault.vessels()
    body = MeasuredBody(about="cd" * 16, stage="as-found", readings=(), on="2026-13-01")
    vault = laptop.vault
    with vault.writing() as writing:
        writing.add("measured", vessel, body.members())
    found = records_aboard(laptop.vault, laptop.fleet.vessels[0])
    assert [each.record for _, each in found] == [good.record]
