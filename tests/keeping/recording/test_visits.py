"""Visits: what an open one remembers, and whose it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused, NotFound, ParambakError
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.visits import close_visit, open_visit
from parambak.keeping.state.visits import open_visits, the_open_visit
from tests.keeping.conftest import WHERE, Laptop, image

if TYPE_CHECKING:
    from pathlib import Path


def opened(laptop: Laptop, vessel: str = "grebe", **words: object) -> tuple[str, bool]:
    """Open a visit by an invented engineer."""
    stated = {"on": "2026-03-01", "by": "A. Invented", "reader": "socket", "confirmed": True}
    return open_visit(laptop.vault, vessel=vessel, **{**stated, **words})  # type: ignore[arg-type]


def test_a_visit_remembers_who_when_which_vessel_and_reader(laptop: Laptop) -> None:
    """Opened, it is the one that a command without further words belongs to."""
    assert opened(laptop) == ("grebe", True)
    found = the_open_visit(laptop.fleet, laptop.vault.writer, None)
    assert found is not None
    handle, visit = found
    assert (handle, visit.on, visit.reader, visit.closed) == ("grebe", "2026-03-01", "socket", None)
    assert visit.by is not None
    assert laptop.vault.person(visit.by) == "A. Invented"


def test_a_visit_to_a_known_vessel_makes_nothing(laptop: Laptop) -> None:
    """The vessel may be named by what it answers to."""
    laptop.take(image())
    assert opened(laptop, "GREBE", confirmed=False) == ("grebe", False)
    assert len(laptop.fleet.vessels) == 1


def test_a_visit_is_opened_by_the_ships_number(laptop: Laptop) -> None:
    """A vessel on record answers to more than short names."""
    laptop.take(image())
    correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    assert opened(laptop, "IMO 1234567") == ("grebe", False)


def test_a_visit_makes_a_near_miss_only_where_it_is_said(laptop: Laptop) -> None:
    """The same guard as for a read."""
    laptop.take(image())
    with pytest.raises(CallRefused) as refusal:
        opened(laptop, "grebes", confirmed=False)
    assert refusal.value.code == "name-vessel-near"
    assert opened(laptop, "grebes", confirmed=True) == ("grebes", True)


def test_a_visit_makes_no_vessel_silently(laptop: Laptop) -> None:
    """A name that is not on record may be a slip; the refusal leaves no vault behind."""
    with pytest.raises(CallRefused) as refusal:
        opened(laptop, confirmed=False)
    assert (refusal.value.code, refusal.value.expected) == (
        "name-vessel-new",
        "none is on record yet",
    )
    assert not laptop.root.exists()
    laptop.take(image())
    with pytest.raises(CallRefused) as refusal:
        opened(laptop, "nope", confirmed=False)
    assert (refusal.value.code, refusal.value.expected) == ("name-vessel-new", "grebe")


def test_one_visit_to_a_vessel_at_a_time(laptop: Laptop) -> None:
    """visit-open-already, also by a name in other case."""
    opened(laptop)
    before = laptop.tree()
    with pytest.raises(CallRefused) as refusal:
        opened(laptop, "Grebe")
    assert refusal.value.code == "visit-open-already"
    assert "grebe" in refusal.value.text
    assert laptop.tree() == before


def test_closing_counts_the_visits_reads_and_ends_it(laptop: Laptop) -> None:
    """Closed on the laptop's day; the next command has none open."""
    opened(laptop)
    found = the_open_visit(laptop.fleet, laptop.vault.writer, None)
    assert found is not None
    laptop.take(image(), image(), visit=found[1].id)
    laptop.take(image(2), where="grebe/winch/U3")
    handle, visit, done, _ = close_visit(
        laptop.vault, today=laptop.now.date(), vessel=None, remark="all well"
    )
    assert (handle, visit.id, sum(done.reads.values())) == ("grebe", found[1].id, 2)
    assert laptop.fleet.vessels[0].visits[0].closed == "2026-03-01"
    assert the_open_visit(laptop.fleet, laptop.vault.writer, None) is None
    with pytest.raises(NotFound) as refusal:
        close_visit(laptop.vault, today=laptop.now.date(), vessel=None, remark=None)
    assert refusal.value.code == "visit-none-open"
    opened(laptop)


def test_of_several_open_the_vessel_must_be_named(laptop: Laptop) -> None:
    """visit-several-open names them; with the vessel's name each is found."""
    opened(laptop)
    opened(laptop, "avocet")
    with pytest.raises(CallRefused) as refusal:
        the_open_visit(laptop.fleet, laptop.vault.writer, None)
    assert refusal.value.code == "visit-several-open"
    assert refusal.value.found == "avocet, grebe"
    with pytest.raises(CallRefused):
        close_visit(laptop.vault, today=laptop.now.date(), vessel=None, remark=None)
    assert (
        close_visit(laptop.vault, today=laptop.now.date(), vessel="GREBE", remark=None)[0]
        == "grebe"
    )
    left = open_visits(laptop.fleet, laptop.vault.writer)
    assert [handle for handle, _ in left] == ["avocet"]


def test_another_writers_visit_is_not_mine(tmp_path: Path) -> None:
    """A colleague's open visit in the same vault is neither used nor closed from here."""
    one = Laptop(tmp_path / "one")
    opened(one)
    other = one.copy_to(tmp_path / "two")
    assert the_open_visit(other.fleet, other.vault.writer, None) is None
    with pytest.raises(NotFound):
        close_visit(other.vault, today=other.now.date(), vessel=None, remark=None)
    assert opened(other) == ("grebe", False)
    one.merge_from(other)
    assert len(open_visits(one.fleet, one.vault.writer)) == 1


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ({"on": "soon"}, "correct-date"),
        ({"by": "x" * 201}, "text-length"),
        ({"reader": "a\x07"}, "text-character"),
        ({"vessel": "no name"}, "name-shape"),
    ],
)
def test_a_refused_visit_leaves_no_vault(laptop: Laptop, words: dict[str, str], code: str) -> None:
    """Nothing is made on the way to a refusal."""
    with pytest.raises(ParambakError) as refusal:
        opened(laptop, **words)
    assert refusal.value.code == code
    assert laptop.tree() == {}


def test_a_visit_closes_though_the_name_was_lost(laptop: Laptop) -> None:
    """The person's object is gone from the disk: the visit ends, by nobody named."""
    opened(laptop)
    found = the_open_visit(laptop.fleet, laptop.vault.writer, None)
    assert found is not None
    assert found[1].by is not None
    laptop.lose(found[1].by)
    assert (
        close_visit(laptop.vault, today=laptop.now.date(), vessel=None, remark=None)[0] == "grebe"
    )
    assert open_visits(laptop.fleet, laptop.vault.writer) == []


def test_a_remark_without_end_does_not_close_the_visit(laptop: Laptop) -> None:
    """text-length; it is still open."""
    opened(laptop)
    with pytest.raises(CallRefused) as refusal:
        close_visit(laptop.vault, today=laptop.now.date(), vessel=None, remark="x" * 4001)
    assert refusal.value.code == "text-length"
    assert len(open_visits(laptop.fleet, laptop.vault.writer)) == 1


def test_a_visit_tells_what_was_read_changed_and_missed(laptop: Laptop) -> None:
    """Against the copy that stood before it; what was never read before is not missed."""
    other = "grebe/starboard-thruster/U12"
    laptop.verified()
    laptop.verified(image(2), where=other)
    laptop.on("2026-06-01")
    opened(laptop)
    _, visit = the_open_visit(laptop.fleet, laptop.vault.writer, None) or ("", None)
    assert visit is not None
    laptop.take(image(1, {0xA0: 0x55}), visit=visit.id)
    _, _, done, _ = close_visit(laptop.vault, today=laptop.now.date(), vessel=None, remark=None)
    assert done.reads == {WHERE: 1}
    assert done.once == (WHERE,)
    assert done.changed == (WHERE,)
    assert done.missed == (other,)
    assert done.measured == 0


def test_a_record_of_a_visit_in_another_shape_is_passed_over(laptop: Laptop) -> None:
    """Neither does it open one, nor close one: what is sound counts."""
    opened(laptop)
    (vessel,) = laptop.fleet.vessels
    with laptop.vault.writing() as writing:
        writing.add("visit-opened", vessel.id, {"visit": 5})
        writing.add("visit-closed", vessel.id, {"visit": 5})
    assert [visit.closed for visit in laptop.fleet.vessels[0].visits] == [None]
