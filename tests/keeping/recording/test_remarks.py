"""Remarks put on record: on what changed, and on a field that differs on purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import CallRefused, NotFound
from parambak.keeping.recording.remarks import MOST_RANGES, record_on_purpose, record_remark
from parambak.keeping.recording.visits import open_visit
from parambak.keeping.state.remarks import (
    OnPurpose,
    on_purpose_marks,
    remarks_of_change,
    remarks_on_record,
)
from parambak.memory.image import Range
from tests.keeping.conftest import WHERE, Laptop, image

if TYPE_CHECKING:
    from parambak.keeping.state.model import Copy
    from parambak.keeping.state.remarks import Remark

BY = "A. Invented"


@pytest.fixture
def two(laptop: Laptop) -> tuple[Copy, Copy]:
    """Return the two copies of a position that was changed between two visits."""
    laptop.take(image())
    laptop.on("2026-03-05")
    laptop.take(image(1, {0x50: 7}), position_confirmed=True)
    old, new = laptop.position().copies
    return old, new


def say(laptop: Laptop, two: tuple[Copy, Copy], **words: Any) -> Remark:
    """Put a remark on record, and return it as it stands there."""
    given = {"text": "replaced the pump", "ranges": [Range(0x50, 1)], "by": BY, **words}
    record_remark(laptop.vault, WHERE, copies=two, **given)
    (vessel,) = laptop.fleet.vessels
    return remarks_on_record(laptop.vault, vessel)[-1]


def test_a_remark_is_on_record_as_given(laptop: Laptop, two: tuple[Copy, Copy]) -> None:
    """The change that it is about, the stretches, the person and the day; no visit is open."""
    remark = say(laptop, two)
    assert (remark.old, remark.new) == (two[0].image, two[1].image)
    assert (remark.text, remark.ranges) == ("replaced the pump", (Range(0x50, 1),))
    assert (remark.visit, remark.on.isoformat()) == (None, "2026-03-05")
    assert laptop.vault.person(remark.by or "") == BY
    (vessel,) = laptop.fleet.vessels
    stored = laptop.vault.records(vessel.id)[-1]
    assert {two[0].sha256, two[1].sha256} <= set(stored.record.objects)


def test_it_belongs_to_that_change_alone(laptop: Laptop, two: tuple[Copy, Copy]) -> None:
    """Not to the same change the other way round, nor to another position's."""
    remark = say(laptop, two)
    laptop.take(image(9), where="grebe/starboard-thruster/U12")
    position = laptop.position()
    other = laptop.position("grebe/starboard-thruster/U12")
    old, new = two[0].image, two[1].image
    assert remarks_of_change([remark], position, old, new) == (remark,)
    assert remarks_of_change([remark], position, new, old) == ()
    assert remarks_of_change([remark], other, old, new) == ()


def test_an_open_visit_gives_its_person_and_its_identity(
    laptop: Laptop, two: tuple[Copy, Copy]
) -> None:
    """Without a name the visit's counts; a name that is given goes first."""
    with pytest.raises(CallRefused) as nobody:
        say(laptop, two, by=None)
    assert nobody.value.code == "remark-by"
    open_visit(
        laptop.vault, vessel="grebe", on="2026-03-05", by="B. Visitor", reader=None, confirmed=False
    )
    (vessel,) = laptop.fleet.vessels
    remark = say(laptop, two, by=None)
    assert laptop.vault.person(remark.by or "") == "B. Visitor"
    assert remark.visit == vessel.visits[0].id
    named = say(laptop, two)
    assert laptop.vault.person(named.by or "") == BY
    assert named.visit == vessel.visits[0].id


@pytest.mark.parametrize(
    ("count", "kept"), [(MOST_RANGES, MOST_RANGES), (MOST_RANGES + 1, 1)], ids=["most", "more"]
)
def test_of_too_many_stretches_one_is_kept_that_holds_them_all(
    laptop: Laptop, two: tuple[Copy, Copy], count: int, kept: int
) -> None:
    """From the first byte to the last, in whatever order they are given."""
    ranges = [Range(10 + 3 * number, 2) for number in range(count)][::-1]
    remark = say(laptop, two, ranges=ranges)
    assert len(remark.ranges) == kept
    assert min(stretch.start for stretch in remark.ranges) == 10
    assert max(stretch.end for stretch in remark.ranges) == 10 + 3 * (count - 1) + 2


def test_a_text_that_no_record_keeps_is_refused(laptop: Laptop, two: tuple[Copy, Copy]) -> None:
    """A control character in the remark or the name; nothing is written."""
    (vessel,) = laptop.fleet.vessels
    for words in ({"text": "a\x1b[2J"}, {"by": "A\x00"}):
        with pytest.raises(CallRefused) as refusal:
            say(laptop, two, **words)
        assert refusal.value.code == "text-character"
    assert remarks_on_record(laptop.vault, vessel) == ()


def purpose(laptop: Laptop, field: str = "ramp", **words: Any) -> tuple[OnPurpose, ...]:
    """Mark a field, and return all marks of the vessel."""
    given = {"reason": "ice class", "by": None, "withdrawn": False, **words}
    record_on_purpose(laptop.vault, WHERE, field=field, **given)
    (vessel,) = laptop.fleet.vessels
    return on_purpose_marks(laptop.vault, vessel)


def test_a_field_on_purpose_is_marked_once_and_withdrawn(laptop: Laptop) -> None:
    """The last word holds; marks stand by position and field."""
    laptop.take(image())
    ramp = OnPurpose(WHERE, "ramp", "ice class")
    assert purpose(laptop) == (ramp,)
    assert purpose(laptop, reason="thicker oil") == (ramp._replace(reason="thicker oil"),)
    limit = OnPurpose(WHERE, "limit", "ice class")
    assert purpose(laptop, "limit") == (limit, ramp._replace(reason="thicker oil"))
    assert purpose(laptop, withdrawn=True) == (limit,)
    assert purpose(laptop) == (limit, ramp)


def test_a_mark_names_its_person_where_one_is_given(laptop: Laptop) -> None:
    """Nobody is named otherwise; a place that is not there is refused."""
    laptop.take(image())
    (vessel,) = laptop.fleet.vessels
    purpose(laptop)
    assert laptop.vault.records(vessel.id)[-1].record.by is None
    purpose(laptop, by=BY)
    by = laptop.vault.records(vessel.id)[-1].record.by
    assert laptop.vault.person(by or "") == BY
    with pytest.raises(NotFound):
        record_on_purpose(
            laptop.vault, "grebe/x/U1", field="a", reason="b", by=None, withdrawn=False
        )
    with pytest.raises(CallRefused):
        purpose(laptop, reason="a\x00")
