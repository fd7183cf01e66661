"""`measure`, as a user and a script meet it."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import archive_two

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

LIMITS = (Path(__file__).parents[2] / "shared" / "limits" / "thruster.toml").read_bytes()
UNIT = "grebe/port-thruster"


@pytest.fixture
def measured(ship: Ship) -> Ship:
    """Return a ship with a first round of readings on record."""
    archive_two(ship)
    ship.write("limits.toml", LIMITS)
    words = ("bus_input=48,1V", "--not-possible", "brake_gap=brake hot", "--by", "A. Fitter")
    assert ship.run("measure", UNIT, *words, "--limits", "limits.toml").code == 0
    return ship


def test_readings_are_kept_and_their_drift_is_shown(measured: Ship) -> None:
    """The limits hold from then on; what was not possible is asked again."""
    answer = measured.answer("measure", UNIT, "bus_input=46.5", "--stage", "as-left")
    assert answer.code == 0
    document = answer.document
    assert document["where"] == UNIT
    assert document["readings"][0] | {"by": "3.5", "within": True} == document["readings"][0]
    assert [each["value"] for each in document["drift"][0]["series"]] == ["48.1", "46.5"]
    assert document["drift"][0]["since_last"] == "-1.6"
    assert document["asked_again"] == [{"name": "brake_gap", "reason": "brake hot"}]
    assert "core_rail" in document["not_given"]


def test_a_reading_outside_its_limits_is_a_negative_answer(measured: Ship) -> None:
    """It is on record all the same, and the answer says by how much."""
    result = measured.run("measure", UNIT, "relay_rail=12,65")
    assert result.code == 1
    assert "OUT, 0.05 V above 12.6" in " ".join(result.out.split())
    assert "12,65 as 12.65 V" in result.out
    again = measured.answer("measure", UNIT, "relay_rail=12.2")
    assert again.document["drift"][0]["since_last"] == "-0.45"


def test_the_answer_says_what_holds_and_with_what_it_was_measured(measured: Ship) -> None:
    """The limits on record and who states them, the instrument, and every reading in words."""
    words = ("--instrument", "Meter 7", "--calibrated", "2001-01-01")
    document = measured.answer("measure", UNIT, "bus_input=46.5", *words).document
    assert document["limits"]["title"] == "Thruster controller: supplies, brake and pump"
    assert document["limits"]["source"].startswith("invented")
    assert (document["instrument"], document["calibrated"]) == ("Meter 7", "2001-01-01")
    assert document["readings"][0]["text"] == "inside, by 3.5 V"
    page = measured.run("measure", UNIT, "bus_input=46.5", *words).out
    assert "Meter 7, calibrated 2001-01-01" in page


def test_no_reading_writes_nothing(measured: Ship) -> None:
    """It lists what is asked, and is no success: nothing is on record."""
    before = measured.tree()
    result = measured.run("measure", UNIT)
    assert result.code == 1
    assert "nothing was put on record" in result.out
    assert "Still to be measured: brake_gap" in result.out
    assert measured.tree() == before


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("grebe", "bus_input=48"), "measure-where"),
        (("grebe/no-such", "bus_input=48"), "where-unit"),
        ((UNIT, "bus_input=48 bar"), "measure-unit"),
        ((UNIT, "bus_inptu=48"), "measure-name"),
        ((UNIT, "bus_input"), "measure-shape"),
        ((UNIT, "bus_input=48", "bus_input=49"), "measure-twice"),
        ((UNIT, "bus_input=48", "--on", "2999-01-01"), "day-to-come"),
        ((UNIT, "bus_input=48", "--calibrated", "yesterday"), "correct-date"),
        ((UNIT, "bus_input=48", "--limits", "none.toml"), "file-absent"),
        ((UNIT, "bus_input=48", "--limits", "layout.toml"), "limits-entry"),
        ((UNIT, "bus_input=48", "--limits", "a.hex"), "limits-text"),
        ((UNIT, "bus_input=48", "--by", "a\x1bb"), "text-character"),
        ((UNIT, "--not-possible", "bus_input=" + "x" * 4001), "text-length"),
        ((UNIT, "bus_input=48", "--remark", "\u202e"), "text-character"),
    ],
)
def test_what_is_refused_leaves_the_vault_as_it_was(
    measured: Ship, words: tuple[str, ...], code: str
) -> None:
    """Exit 2, the code, and what to do."""
    before = measured.tree()
    answer = measured.answer("measure", *words)
    assert answer.code == 2
    assert answer.document["error"]["code"] == code
    assert answer.document["error"]["next"]
    assert measured.tree() == before


def test_an_open_visit_is_remembered(measured: Ship) -> None:
    """The record names its person, and the readings go with the visit."""
    measured.run("visit", "open", "grebe", "--by", "B. Visitor")
    assert measured.run("measure", UNIT, "bus_input=48").code == 0
    records = [path.read_text("utf-8") for path in measured.vault.glob("records/*/*.json")]
    kept = [text for text in records if '"kind":"measured"' in text and '"visit"' in text]
    assert len(kept) == 1
    assert '"by":' in kept[0]


def test_a_note_tells_of_an_old_calibration(measured: Ship) -> None:
    """The limits allow twelve months."""
    result = measured.run("measure", UNIT, "bus_input=48", "--calibrated", "2001-01-01")
    assert "more than 12 months" in result.err
    fortnight = (datetime.now().astimezone() - timedelta(days=14)).date().isoformat()
    recent = measured.run("measure", UNIT, "bus_input=48", "--calibrated", fortnight)
    assert "calibrated" not in recent.err


def test_a_record_of_another_shape_is_in_nobodys_way(measured: Ship) -> None:
    """It is left out; the readings next to it count."""
    from datetime import UTC
    from datetime import datetime as clock
    from pathlib import Path as Folder

    from parambak.vault.vault import Vault

    vault = Vault.open(
        Folder(measured.vault), own=measured.folder / "own", clock=lambda: clock.now(UTC)
    )
    (vessel,) = vault.vessels()
    record = next(s.record for s in vault.records(vessel) if s.record.kind == "measured")
    with vault.writing() as writing:
        writing.add("measured", vessel, {**record.body, "on": "someday", "limits": 7})
        writing.add("measured", vessel, {**record.body, "on": "2026-02-30"})
    vault.close()
    answer = measured.answer("measure", UNIT, "bus_input=48")
    assert answer.code == 0
    assert len(answer.document["drift"][0]["series"]) == 2
