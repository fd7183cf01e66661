from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from parambak.keeping.state.backups import Held, held_in, latest_locations, newest_held
from parambak.keeping.state.bodies import BackupLocationBody
from parambak.vault.order import causal_order
from parambak.vault.records import Clock, Record, Stored, encode, file_of

if TYPE_CHECKING:
    from collections.abc import Sequence

GREBE = "3fa2c0de" * 4
RED, BLUE = "9ace" * 8, "b1ce" * 8

ON_RECORD = {RED: BackupLocationBody(location=RED, name="red", address="E:")}


class Story:
    """Records about one vessel, each after those that are named, a day apart."""

    def __init__(self) -> None:
        self.stored: list[Stored] = []

    def add(self, kind: str, body: dict[str, Any], after: Sequence[str] | None = None) -> str:
        """Add a record after the last one, or after those named; return its digest."""
        day = len(self.stored) + 1
        record = Record(
            format=1,
            kind=kind,
            vessel=GREBE,
            after=tuple(
                sorted(after if after is not None else [s.digest for s in self.stored[-1:]])
            ),
            clock=Clock(utc=f"2026-03-{day:02}T12:00:00Z", offset=0),
            writer="0" * 32,
            objects=(),
            body=body,
        )
        digest, _ = encode(record)
        self.stored.append(Stored(digest, record, file_of(digest)))
        return digest

    def held(
        self,
        *heads: str,
        location: str = RED,
        hashed: bool = True,
        incomplete: Sequence[str] = (),
        after: Sequence[str] | None = None,
    ) -> str:
        """Add a record of what a backup location holds."""
        body = {"location": location, "name": "red", "heads": sorted(heads), "records": 1}
        more = {
            "objects": 1,
            "hashed": hashed,
            **({"incomplete": list(incomplete)} if incomplete else {}),
        }
        return self.add("held", {**body, **more}, after)

    def of(self, digest: str, locations: dict[str, BackupLocationBody] | None = None) -> list[Held]:
        """Return the backup locations that hold a record."""
        ordered = causal_order(self.stored)
        on_record = ON_RECORD if locations is None else locations
        return held_in(ordered, on_record).get(digest, [])


@pytest.fixture
def story() -> Story:
    """Return a vessel of which nothing is stated yet."""
    return Story()


def test_what_the_newest_there_knew_of_is_there(story: Story) -> None:
    """The head, and all behind it; what came later is not, nor the record that tells so."""
    one, two = story.add("note", {"n": 1}), story.add("note", {"n": 2})
    told = story.held(two)
    three = story.add("note", {"n": 3})
    assert [len(story.of(each)) for each in (one, two, told, three)] == [1, 1, 0, 0]
    (held,) = story.of(one)
    assert (held.location, held.name, held.on.isoformat()) == (RED, "red", "2026-03-03")
    assert held.hashed_on == held.on


def test_the_last_proof_counts(story: Story) -> None:
    """A backup location that was wiped and filled again holds what it was proven to hold then."""
    one = story.add("note", {"n": 1})
    two = story.add("note", {"n": 2}, after=())
    story.held(one, two, after=[one, two])
    story.held(two)
    assert story.of(one) == []
    assert [held.on.isoformat() for held in story.of(two)] == ["2026-03-04"]


def test_what_was_not_whole_there_is_not_held(story: Story) -> None:
    """Its object was damaged on both sides; the later read counts all the same."""
    one, two = story.add("note", {"n": 1}), story.add("note", {"n": 2})
    story.held(two, incomplete=[one])
    assert (story.of(one), len(story.of(two))) == ([], 1)


def test_sizes_alone_are_no_hashing(story: Story) -> None:
    """The day of the last hashing stays that of the last hashing."""
    one = story.add("note", {"n": 1})
    story.held(one, hashed=False)
    assert [held.hashed_on for held in story.of(one)] == [None]
    story.held(one)
    two = story.add("note", {"n": 2})
    story.held(two, hashed=False)
    (held,) = story.of(one)
    assert held.hashed_on is not None
    assert (held.on.isoformat(), held.hashed_on.isoformat()) == ("2026-03-05", "2026-03-03")
    assert [held.hashed_on for held in story.of(two)] == [None]


def test_a_location_removed_or_not_on_record_does_not_count(story: Story) -> None:
    """The former owner of a vessel may still have it; the name is that on record."""
    one = story.add("note", {"n": 1})
    story.held(one)
    story.held(one, location=BLUE)
    gone = BackupLocationBody(location=RED, name="old-red", address="E:", removed=True)
    renamed = BackupLocationBody(location=BLUE, name="blue", address="F:")
    assert {held.name for held in story.of(one)} == {"red"}
    assert story.of(one, {}) == []
    assert story.of(one, {RED: gone}) == []
    assert {held.name for held in story.of(one, {RED: gone, BLUE: renamed})} == {"blue"}


def test_a_merge_in_any_order_tells_the_same(story: Story) -> None:
    """Two laptops proved the same location, neither knowing of the other: one order for both."""
    one = story.add("note", {"n": 1})
    two = story.add("note", {"n": 2}, after=[one])
    story.held(one, after=[one])
    story.held(two, after=[two])
    first = newest_held(causal_order(story.stored))
    second = newest_held(causal_order(story.stored[::-1]))
    assert first[RED][0].digest == second[RED][0].digest
    assert first[RED][1].heads == (two,)


def test_a_record_of_another_shape_is_in_nobodys_way(story: Story) -> None:
    """It is damage, which recheck names."""
    one = story.add("note", {"n": 1})
    story.held(one)
    story.add("held", {"location": RED})
    story.add("location", {"location": 3})
    assert len(story.of(one)) == 1
    assert latest_locations(story.stored) == {}


def test_heads_that_are_not_here_hold_nothing(story: Story) -> None:
    """A proof from another laptop whose records have not come yet."""
    one = story.add("note", {"n": 1})
    story.held("f" * 64)
    assert story.of(one) == []
