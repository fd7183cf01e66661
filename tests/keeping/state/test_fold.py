"""Copies and their order: an image that comes back, and reads told out of order."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused, ParambakError
from parambak.keeping.recording.entries import correct
from parambak.keeping.state.fold import MOST_RECORD_SETS, Folding, fleet
from parambak.keeping.state.record_sets import IdentityRecords
from parambak.memory.digests import sha256
from tests.keeping.conftest import WHERE, Laptop, image

if TYPE_CHECKING:
    from pathlib import Path

A, B, C = image(1), image(2), image(3)


def shown(laptop: Laptop, where: str = WHERE) -> list[tuple[int, str, int]]:
    """Return each copy's number, which image it is, and how many reads gave it."""
    names = {sha256(A): "A", sha256(B): "B", sha256(C): "C"}
    return [
        (copy.number, names[copy.sha256], len(copy.reads)) for copy in laptop.position(where).copies
    ]


def test_an_image_that_comes_back_is_the_latest_again(laptop: Laptop) -> None:
    """A, B, A: two copies, the latest is A with both its reads, the previous is B."""
    for data, day in ((A, "2026-01-10"), (B, "2026-03-10"), (A, "2026-06-10")):
        laptop.take(data, read_on=day, position_confirmed=True)
    assert shown(laptop) == [(1, "B", 1), (2, "A", 2)]
    assert [read.read_on.isoformat() for read in laptop.latest().reads] == [
        "2026-01-10",
        "2026-06-10",
    ]
    assert not laptop.position().out_of_order


def test_an_older_read_archived_later_is_not_the_latest(laptop: Laptop) -> None:
    """The date of the read goes first; that the records say otherwise is stated."""
    laptop.take(A, read_on="2026-06-10")
    laptop.take(B, read_on="2026-01-10", position_confirmed=True)
    assert shown(laptop) == [(1, "B", 1), (2, "A", 1)]
    assert laptop.position().out_of_order


def test_of_one_day_the_later_record_is_the_latest(laptop: Laptop) -> None:
    """Reads of one day stand in the order of the records."""
    for data in (B, A, C):
        laptop.take(data, read_on="2026-06-10", position_confirmed=True)
    assert [name for _, name, _ in shown(laptop)] == ["B", "A", "C"]
    assert not laptop.position().out_of_order


def test_a_read_without_a_date_is_of_the_laptops_day(laptop: Laptop) -> None:
    """The day where the laptop stood, not of Greenwich; and it is said to be no one's word."""
    from datetime import datetime

    laptop.now = datetime.fromisoformat("2026-03-02T00:30:00+01:00")
    laptop.take(A)
    (read,) = laptop.position().reads
    assert (read.read_on.isoformat(), read.stated) == ("2026-03-02", False)


def test_a_clock_set_back_does_not_change_the_latest(laptop: Laptop) -> None:
    """Of reads with a stated day the records' order decides, whatever the clock shows."""
    laptop.on("2026-06-10")
    laptop.take(A, read_on="2026-06-10")
    laptop.on("2020-01-01")
    laptop.take(B, read_on="2026-06-10", position_confirmed=True)
    assert laptop.latest().sha256 == sha256(B)


def test_the_order_goes_over_both_identities_of_a_ship(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One ship on two laptops, read on one day: the later clock is the later read.

    Identities are random; here each new one is lower, so that they would give another order.
    """
    falling = itertools.count(999_999, -1)
    monkeypatch.setattr("secrets.token_hex", lambda size: f"{next(falling):0{2 * size}x}")
    one, other = Laptop(tmp_path / "one"), Laptop(tmp_path / "two", start=60)
    for laptop, data in ((one, A), (other, B)):
        laptop.take(data, read_on="2026-03-01")
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    one.merge_from(other)
    assert one.latest().sha256 == sha256(B)
    orders = [read.order for read in one.position().reads]
    assert len(set(orders)) == 2
    assert not one.position().out_of_order


def test_the_same_bytes_at_other_addresses_are_another_copy(laptop: Laptop) -> None:
    """An image is bytes and where they stand."""
    from parambak.memory.image import Image

    laptop.take(Image.of(A), Image.of(A, 0x100), position_confirmed=True)
    first, second = laptop.position().copies
    assert first.sha256 == second.sha256
    assert first.image != second.image


# --- corrections of a read ---


def test_a_wrong_day_corrected_moves_the_copy(laptop: Laptop) -> None:
    """The newest read's day is stated again, by whom and why; the copy's place follows."""
    laptop.take(A, read_on="2026-06-10")
    laptop.take(B, read_on="2026-07-10", position_confirmed=True)
    said, _ = correct(
        laptop.vault, f"{WHERE}@latest", {"read_on": "2026-05-10"}, by="X", why="typo"
    )
    assert said == f"the newest read of {WHERE}@{sha256(B)[:8]}"
    assert [name for _, name, _ in shown(laptop)] == ["B", "A"]


def test_a_wrong_position_corrected_moves_the_read(laptop: Laptop) -> None:
    """The read is at the other position, with its remark; nothing is left of the wrong one."""
    laptop.take(A, where="grebe/starboard-thruster/U12")
    laptop.take(B, read_on="2026-06-10")
    target = "grebe/starboard-thruster/U12"
    correct(laptop.vault, f"{WHERE}@latest", {"position": target}, by="X", why="sides mixed up")
    assert [position.where for position in fleet(laptop.vault).vessels[0].positions] == [target]
    assert [name for _, name, _ in shown(laptop, target)] == ["A", "B"]
    correct(laptop.vault, f"{target}@latest", {"remark": "moved"}, by=None, why=None)
    assert laptop.latest(target).newest.remark == "moved"


def test_a_read_is_not_moved_to_another_vessel(laptop: Laptop) -> None:
    """Each vessel's records are whole alone: correct-other-vessel, and the read stays."""
    laptop.take(A)
    laptop.take(B, where="avocet/port-thruster/U12")
    facts = {"position": "avocet/port-thruster/U12"}
    with pytest.raises(CallRefused) as refusal:
        correct(laptop.vault, f"{WHERE}@latest", facts, by=None, why=None)
    assert refusal.value.code == "correct-other-vessel"
    assert shown(laptop) == [(1, "A", 1)]


@pytest.mark.parametrize(
    "day", ["", "yesterday", "2026-02-30", "10.06.2026", "2026-06-10T10:00", "9" * 100]
)
def test_no_day_is_refused(laptop: Laptop, day: str) -> None:
    """correct-date, wherever a day is stated; nothing is written."""
    laptop.take(A)
    before = laptop.tree()
    for told in (
        lambda: correct(laptop.vault, f"{WHERE}@latest", {"read_on": day}, by=None, why=None),
        lambda: laptop.take(A, read_on=day),
    ):
        with pytest.raises(ParambakError) as refusal:
            told()
        assert refusal.value.code == "correct-date"
    assert laptop.tree() == before


def test_a_record_with_no_day_in_it_is_damage(laptop: Laptop) -> None:
    """Another program wrote it: it is left out and named, as every record that tells nothing."""
    laptop.take(A)
    with laptop.vault.writing() as writing:
        identity = laptop.vault.vessels()[0]
        body = dict(laptop.vault.records(identity)[-1].record.body) | {"read_on": "one fine day"}
        writing.add("read", identity, body)
    (vessel,) = laptop.fleet.vessels
    ((file, text),) = vessel.aboard.damaged
    assert file.startswith("records/")
    assert "one fine day" in text
    assert [len(position.reads) for position in vessel.positions] == [1]


def test_a_correction_to_no_day_is_damage_and_of_a_unit_it_is_none(laptop: Laptop) -> None:
    """The day of a read is a day; a fact of that name of anything else is a text."""
    laptop.take(A)
    (vessel,) = laptop.fleet.vessels
    read = laptop.latest().newest
    for what, identity in (("read", read.record), ("unit", vessel.units[0].id)):
        with laptop.vault.writing() as writing:
            body = {"what": what, "id": identity, "facts": {"read_on": "one fine day"}}
            writing.add("correct", vessel.id, body)
    (vessel,) = laptop.fleet.vessels
    ((_, text),) = vessel.aboard.damaged
    assert "one fine day" in text
    assert laptop.latest().newest.read_on == read.read_on
    assert vessel.units[0].facts["read_on"] == "one fine day"


def test_of_a_fleet_the_records_of_a_few_vessels_are_kept_sorted(laptop: Laptop) -> None:
    """No more than a few, whatever is looked at; looked at again, the answer is the same."""
    for number in range(MOST_RECORD_SETS + 2):
        laptop.take(bytes([number]) * 8, where=f"vessel-{number * 111}/port/U1", new_vessel=True)
    folding = Folding(laptop.vault)
    first = [[p.where for p in vessel.positions] for vessel in folding.fleet().vessels]
    assert len(folding._record_sets) == MOST_RECORD_SETS
    for vessel in folding.fleet().vessels:
        vessel.forget()
    again = [[p.where for p in vessel.positions] for vessel in folding.fleet().vessels]
    assert again == first
    assert len(folding._record_sets) == MOST_RECORD_SETS


def test_a_record_that_went_away_does_not_count_any_more(laptop: Laptop) -> None:
    """Records sorted once are sorted again where some are gone; more of them are added."""
    laptop.take(A)
    laptop.take(B, position_confirmed=True)
    stored = laptop.vault.records(laptop.vault.vessels()[0])
    records = IdentityRecords("x", stored[:1])
    assert records.extend(stored)
    assert len(records.reads) == 2
    assert not records.extend(stored[:1])


def test_the_last_sound_recheck_is_known_and_one_with_damage_is_not_sound(laptop: Laptop) -> None:
    """The newest that found nothing wrong, whatever order the records came in."""
    laptop.take(A)
    found = [laptop.fleet.rechecked]
    for day, damaged in (("2026-05-01", 0), ("2026-04-01", 0), ("2026-06-01", 1)):
        laptop.on(day)
        with laptop.vault.writing() as writing:
            body = {"objects": 3, "records": 2, "damaged": damaged}
            writing.add("recheck", None, {**body, "folder": laptop.vault.folder_mark})
        found.append(laptop.fleet.rechecked)
    days = [each.date().isoformat() if each else None for each in found]
    assert days == [None, "2026-05-01", "2026-05-01", "2026-05-01"]
