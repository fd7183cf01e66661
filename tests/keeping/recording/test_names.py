"""Names: near misses, what makes one ship of two entries, and two ships of one name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import CallRefused, NotFound, ParambakError
from parambak.keeping.recording.cards import enter_card
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.texts import check_short
from parambak.keeping.state.select import find_position, find_vessel
from parambak.memory.names import one_letter_apart
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from pathlib import Path

WORDS = st.text("abc", min_size=0, max_size=5)


def refused(laptop: Laptop, where: str, **words: Any) -> ParambakError:
    """Return the refusal that a read at a WHERE meets."""
    with pytest.raises(CallRefused) as refusal:
        laptop.take(image(), where=where, **words)
    return refusal.value


@pytest.mark.parametrize(
    "typed",
    ["grebes", "xgrebe", "grebeX", "greb", "gree", "grabe", "rgebe", "gerbe", "gre-be", "g.r-EBE"],
)
def test_a_vessel_one_letter_or_mark_away_is_refused(laptop: Laptop, typed: str) -> None:
    """A letter more, less, changed, two crossed over, case and punctuation: name-vessel-near."""
    laptop.take(image())
    error = refused(laptop, f"{typed}/port-thruster/U12")
    assert error.code == "name-vessel-near"
    assert error.expected == "grebe"
    assert "--new-vessel" in (error.next or "")


def test_a_near_name_is_another_ship_where_it_is_said(laptop: Laptop) -> None:
    """--new-vessel passes it; the two are two vessels."""
    laptop.take(image())
    laptop.take(image(2), where="grebe2/port-thruster/U12", new_vessel=True)
    assert [vessel.short for vessel in laptop.fleet.vessels] == ["grebe", "grebe2"]


def test_a_name_two_letters_away_is_a_new_vessel(laptop: Laptop) -> None:
    """What is made on the way is said."""
    laptop.take(image())
    made = laptop.take(image(2), where="avocet/port-thruster/U12").made
    assert made == ("new vessel avocet", "new unit port-thruster", "new position U12")


def test_the_name_itself_in_other_case_is_the_vessel(laptop: Laptop) -> None:
    """Names are compared without regard to case, and stand as first given."""
    laptop.take(image())
    taken = laptop.take(image(), where="GREBE/Port-Thruster/u12")
    assert taken.made == ()
    assert taken.position.where == "grebe/port-thruster/U12"


@pytest.mark.parametrize("typed", ["port.thruster", "portthruster", "PORT-THRUST-ER"])
def test_a_unit_that_differs_by_marks_alone_is_refused(laptop: Laptop, typed: str) -> None:
    """name-near, with the name as it stands."""
    laptop.take(image())
    error = refused(laptop, f"grebe/{typed}/U12")
    assert (error.code, error.expected) == ("name-near", "port-thruster")


def test_a_position_that_differs_by_marks_alone_is_refused(laptop: Laptop) -> None:
    """`U-12` next to `U12` is a slip of the hand."""
    laptop.take(image())
    assert refused(laptop, "grebe/port-thruster/U-12").code == "name-near"


def test_units_and_positions_one_letter_away_are_new(laptop: Laptop) -> None:
    """Positions are numbered: U12 and U13 are two, as are channel-a and channel-b.

    A unit whose name is one letter away is asked about.
    """
    laptop.take(image())
    laptop.take(image(2), where="grebe/port-thruster/U13")
    assert refused(laptop, "grebe/port-thrustes/U12").code == "name-almost"
    laptop.take(image(3), where="grebe/port-thrustes/U12", new_unit=True)
    assert len(laptop.fleet.vessels[0].positions) == 3


@pytest.mark.parametrize("name", ["", "a b", "-a", "a-", ".a", "a/b", "ä", "a\n", "a" * 41, "a:b"])
def test_what_is_no_short_name_is_refused(name: str) -> None:
    """Letters, digits, hyphens and dots, at most 40, no mark at the ends: name-shape."""
    with pytest.raises(CallRefused) as refusal:
        check_short(name, "vessel")
    assert refusal.value.code == "name-shape"


@given(WORDS, WORDS)
def test_one_letter_apart_is_a_distance_of_one(one: str, other: str) -> None:
    """Against the distance of Damerau (adjacent letters crossed over), written out plainly.

    F. J. Damerau, A technique for computer detection and correction of spelling errors,
    CACM 7 (1964): one letter wrong, missing, extra, or two adjacent crossed over.
    """
    assert one_letter_apart(one, other) == (other in edits(one))
    assert one_letter_apart(one, other) == one_letter_apart(other, one)


def edits(word: str) -> set[str]:
    """Return the word and every word one edit away, over the letters in use."""
    parts = [(word[:at], word[at:]) for at in range(len(word) + 1)]
    found = {word}
    found |= {left + right[1:] for left, right in parts if right}
    found |= {left + right[1] + right[0] + right[2:] for left, right in parts if len(right) > 1}
    found |= {left + letter + right[1:] for left, right in parts if right for letter in "abc"}
    return found | {left + letter + right for left, right in parts for letter in "abc"}


# --- former names and numbers ---


def test_a_former_name_and_the_imo_number_name_the_vessel(laptop: Laptop) -> None:
    """Renamed: the old name, the number, with or without IMO, in any case."""
    laptop.take(image())
    correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    correct(laptop.vault, "grebe", {"short": "heron"}, by="A. Invented", why="sold")
    correct(laptop.vault, "heron", {"former": "wader"}, by=None, why=None)
    known = laptop.fleet
    names = ["heron", "HERON", "grebe", "wader", "1234567", "IMO 1234567", "imo1234567"]
    assert {find_vessel(known, name).id for name in names} == {known.vessels[0].id}
    where = "1234567/port-thruster/U12"
    assert find_position(known, where).where == "heron/port-thruster/U12"


def test_a_read_under_a_former_name_is_filed_under_the_vessel(laptop: Laptop) -> None:
    """Nothing new is made for it."""
    laptop.take(image())
    correct(laptop.vault, "grebe", {"short": "heron"}, by=None, why=None)
    assert laptop.take(image()).position.where == "heron/port-thruster/U12"


def test_a_former_name_that_is_near_is_refused_too(laptop: Laptop) -> None:
    """The near miss of an old name is as likely a slip."""
    laptop.take(image())
    correct(laptop.vault, "grebe", {"short": "heron"}, by=None, why=None)
    assert refused(laptop, "grebee/port-thruster/U12").code == "name-vessel-near"


# --- two entries, one ship or two ---


def two(tmp_path: Path) -> tuple[Laptop, Laptop]:
    """Return two laptops, each with a vault of its own."""
    return Laptop(tmp_path / "one"), Laptop(tmp_path / "two", start=60)


def test_two_vessels_of_one_name_are_told_apart_by_digits(tmp_path: Path) -> None:
    """After the merge each prints as name~digits; the bare name is refused, naming both."""
    one, other = two(tmp_path)
    one.take(image())
    other.take(image(2))
    one.merge_from(other)
    known = one.fleet
    handles = [vessel.handle for vessel in known.vessels]
    assert sorted(handles) == sorted(f"grebe~{vessel.id[:4]}" for vessel in known.vessels)
    with pytest.raises(CallRefused) as refusal:
        find_vessel(known, "grebe")
    assert refusal.value.code == "where-two-vessels"
    assert refusal.value.expected == " or ".join(handles)
    for vessel in known.vessels:
        assert find_vessel(known, vessel.handle) is vessel
        where = f"{vessel.handle.upper()}/port-thruster/U12"
        assert find_position(known, where).where == f"{vessel.handle}/port-thruster/U12"


def test_a_read_for_a_name_that_two_have_is_refused(tmp_path: Path) -> None:
    """And goes on record under the name with its digits."""
    one, other = two(tmp_path)
    one.take(image())
    other.take(image(2))
    one.merge_from(other)
    assert refused(one, "grebe/port-thruster/U12").code == "where-two-vessels"
    handle = one.fleet.vessels[0].handle
    where = f"{handle}/port-thruster/U12"
    assert one.take(image(), where=where, position_confirmed=True).position.where == where


def test_digits_are_as_many_as_tell_them_apart() -> None:
    """Two identities that begin alike print with more digits."""
    from parambak.keeping.state.vessel_names import VesselNames, with_handles

    ids = ["3fa2c" + "0" * 27, "3fa2d" + "0" * 27]
    ships = [VesselNames(frozenset({each}), "grebe", {}, (), {}) for each in ids]
    assert [handle for _, handle in with_handles(ships)] == ["grebe~3fa2c", "grebe~3fa2d"]


def joined(tmp_path: Path) -> tuple[Laptop, Laptop]:
    """Return two vaults, made separately, of one ship by IMO number and name, merged into both."""
    one, other = two(tmp_path)
    for laptop, seed in ((one, 1), (other, 1)):
        laptop.take(image(seed))
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    one.merge_from(other)
    other.merge_from(one)
    return one, other


def test_two_identities_of_one_number_and_name_are_one_ship(tmp_path: Path) -> None:
    """Units and positions of one name are joined; two reads made on two laptops agree."""
    one, other = joined(tmp_path)
    (ship,) = one.fleet.vessels
    assert ship.handle == "grebe"
    assert len(ship.ids) == 2
    assert [unit.short for unit in ship.units] == ["port-thruster"]
    position = one.position()
    assert len(position.ids) == 2
    assert len(position.copies) == 1
    assert len(position.copies[0].reads) == 2
    assert one.fleet == other.fleet


def test_the_name_may_be_a_former_one(tmp_path: Path) -> None:
    """One laptop knows the ship by its new name, the other by the old: still one."""
    one, other = two(tmp_path)
    for laptop in (one, other):
        laptop.take(image())
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    correct(other.vault, "grebe", {"short": "heron"}, by=None, why=None)
    one.merge_from(other)
    (ship,) = one.fleet.vessels
    assert {ship.short, *ship.former} == {"grebe", "heron"}
    assert [conflict.fact for conflict in ship.conflicts] == ["short"]


@pytest.mark.parametrize("facts", [{}, {"imo": "1234579"}])
def test_without_the_same_number_they_stay_two(tmp_path: Path, facts: dict[str, str]) -> None:
    """A name alone proves nothing."""
    one, other = two(tmp_path)
    one.take(image())
    other.take(image())
    correct(one.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
    if facts:
        correct(other.vault, "grebe", facts, by=None, why=None)
    one.merge_from(other)
    assert len(one.fleet.vessels) == 2


def test_the_number_without_a_common_name_is_two_vessels(tmp_path: Path) -> None:
    """A wrong number must not join two ships; the number then names both, and is refused."""
    one, other = two(tmp_path)
    one.take(image())
    other.take(image(), where="avocet/port-thruster/U12")
    for laptop, name in ((one, "grebe"), (other, "avocet")):
        correct(laptop.vault, name, {"imo": "1234567"}, by=None, why=None)
    one.merge_from(other)
    with pytest.raises(CallRefused) as refusal:
        find_vessel(one.fleet, "1234567")
    assert refusal.value.expected == "avocet or grebe"


def test_a_third_entry_can_join_two_that_share_no_name(tmp_path: Path) -> None:
    """A and B share no name, C shares one with each: all three are one, in any order."""
    laptops = [Laptop(tmp_path / str(n), start=60 * n) for n in range(3)]
    for laptop, names in zip(laptops, (["grebe"], ["avocet"], ["grebe", "avocet"]), strict=True):
        laptop.take(image(), where=f"{names[0]}/port-thruster/U12")
        correct(laptop.vault, names[0], {"imo": "1234567"}, by=None, why=None)
        for name in names[1:]:
            correct(laptop.vault, names[0], {"former": name}, by=None, why=None)
    for laptop in laptops[1:]:
        laptops[0].merge_from(laptop)
    assert len(laptops[0].fleet.vessels) == 1


def test_a_unit_of_a_joined_ship_is_renamed_whole(tmp_path: Path) -> None:
    """The new name is stated under each identity: the unit is not split in two."""
    one, other = joined(tmp_path)
    correct(one.vault, "grebe/port-thruster", {"short": "bow-thruster"}, by="B. Invented", why="x")
    (unit,) = one.fleet.vessels[0].units
    assert unit.short == "bow-thruster"
    assert len(unit.ids) == 2
    other.merge_from(one)
    assert one.fleet == other.fleet


def test_each_identity_keeps_its_own_records_whole(tmp_path: Path) -> None:
    """A read, a card and a fact of a joined ship go to the identity that brought the thing in."""
    one, _ = joined(tmp_path)
    correct(one.vault, "grebe/port-thruster", {"serial": "S-1"}, by=None, why=None)
    one.take(image(2), position_confirmed=True)
    vault = one.vault
    for identity in vault.vessels():
        brought = set()
        for stored in vault.records(identity):
            body = stored.record.body
            brought |= {entity["id"] for entity in body.get("new", ())}
            named = {"read": "position", "correct": "id"}.get(stored.record.kind)
            assert named is None or body[named] in {*brought, identity}


def test_what_two_identities_tell_differently_is_a_conflict_until_settled(tmp_path: Path) -> None:
    """Both are shown; the next corrections, told to both, settles it."""
    one, other = two(tmp_path)
    for laptop, serial in ((one, "S-1"), (other, "S-2")):
        laptop.take(image())
        correct(laptop.vault, "grebe", {"imo": "1234567"}, by=None, why=None)
        correct(laptop.vault, "grebe/port-thruster", {"serial": serial}, by=None, why=None)
    one.merge_from(other)
    (unit,) = one.fleet.vessels[0].units
    (conflict,) = unit.conflicts
    assert (conflict.fact, set(conflict.values)) == ("serial", {"S-1", "S-2"})
    correct(one.vault, "grebe/port-thruster", {"serial": "S-2"}, by="A. Invented", why="the plate")
    (unit,) = one.fleet.vessels[0].units
    assert (unit.facts["serial"], unit.conflicts) == ("S-2", ())


def test_one_unit_made_on_two_copies_of_a_vault_is_one(tmp_path: Path) -> None:
    """Two laptops with the same vault each bring in the unit of one name."""
    one = Laptop(tmp_path / "one")
    one.take(image())
    other = one.copy_to(tmp_path / "two")
    one.take(image(2), where="grebe/winch/U3")
    other.take(image(2), where="grebe/Winch/u3")
    one.merge_from(other)
    assert len(one.position("grebe/winch/u3").reads) == 2
    assert len(one.fleet.vessels[0].units) == 2


# --- taken names ---


def test_a_rename_to_a_name_that_is_taken_is_refused(laptop: Laptop) -> None:
    """Vessel, unit, position: correct-name-taken; by marks alone: name-near."""
    for where in ("grebe/port/U1", "grebe/stern/U1", "grebe/port/U2", "avocet/port/U1"):
        laptop.take(image(), where=where, position_confirmed=True)
    for where, name, code in (
        ("avocet", "GREBE", "correct-name-taken"),
        ("grebe/port", "Stern", "correct-name-taken"),
        ("grebe/port", "s-tern", "name-near"),
        ("grebe/port/U1", "u2", "correct-name-taken"),
        ("grebe/port/U1", "no name", "name-shape"),
    ):
        with pytest.raises(CallRefused) as refusal:
            correct(laptop.vault, where, {"short": name}, by=None, why=None)
        assert refusal.value.code == code
    correct(laptop.vault, "grebe/port", {"short": "Port"}, by=None, why="its case alone")
    assert laptop.position("grebe/port/U1").where == "grebe/Port/U1"
    correct(laptop.vault, "grebe/port", {"short": "po-rt"}, by=None, why="its own, with a mark")
    assert laptop.position("grebe/po-rt/U1").where == "grebe/po-rt/U1"


def test_a_card_of_almost_that_number_is_refused(laptop: Laptop) -> None:
    """Serial numbers are names: `PC-4471` and `PC4471` are one card."""
    laptop.take(image())
    words = {"location": "spare aboard", "card_type": None, "by": None}
    enter_card(laptop.vault, vessel="grebe", serial="PC-4471", **words)  # type: ignore[arg-type]
    for serial, code in (("PC4471", "name-near"), ("PC 4471", "name-shape")):
        with pytest.raises(CallRefused) as refusal:
            enter_card(laptop.vault, vessel="grebe", serial=serial, **words)  # type: ignore[arg-type]
        assert refusal.value.code == code


def test_an_unknown_vessel_names_the_nearest(laptop: Laptop) -> None:
    """where-vessel, with what is there; in an empty vault none is."""
    with pytest.raises(NotFound) as refusal:
        find_vessel(laptop.fleet, "grebe")
    assert refusal.value.expected == "none is on record yet"
    laptop.take(image())
    with pytest.raises(NotFound) as refusal:
        find_vessel(laptop.fleet, "greb")
    assert (refusal.value.code, refusal.value.expected) == ("where-vessel", "grebe")
