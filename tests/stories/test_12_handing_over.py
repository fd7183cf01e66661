"""A merge leaves no dead end; a new owner's backup locations are their own."""

from __future__ import annotations

import shutil
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING

import pytest

from tests.stories.small_unit import OLD_LAYOUT, memory

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.stories.conftest import Laptop

BY = "--by 'A. Fitter'"
WHERE = "grebe/winch/U12"
OTHER = "grebe/crane/U7"


@pytest.fixture
def ship(laptop: Laptop) -> Laptop:
    """Return a laptop with two positions, verified, and a spare card."""
    laptop.write("OLD.toml", OLD_LAYOUT)
    for seed, where in enumerate((WHERE, OTHER), 1):
        vessel, unit, position = where.split("/")
        for name in ("R1.BIN", "R2.BIN"):
            laptop.dump(name, memory(seed))
        laptop.yes(
            f"archive R1.BIN R2.BIN --vessel {vessel} --unit {unit} --position {position} "
            f"--layout OLD.toml {BY}"
        )
    laptop.yes(f"card add grebe PC-1 {BY}")
    return laptop


def second_copy(laptop: Laptop, other: Laptop, *, same_person: bool) -> None:
    """Copy the vault, as with a file manager; of the same person also the user's own folder."""
    shutil.copytree(laptop.vault, other.vault)
    for name in ("R1.BIN", "R2.BIN", "OLD.toml"):
        shutil.copy2(laptop.folder / name, other.folder)
    if same_person:
        other.own = laptop.own


def merge(one: Laptop, other: Laptop) -> None:
    """Copy the objects and records of each vault into the other."""
    for source, target in ((one, other), (other, one)):
        for folder in ("objects", "records"):
            shutil.copytree(source.vault / folder, target.vault / folder, dirs_exist_ok=True)


def swap(where: str, card: str) -> str:
    """Return a line that opens a swap with a new card."""
    return f"swap open {where} --new-card-serial {card} --reason 'does not start' {BY}"


OPENINGS = {
    "visit": f"visit open grebe {BY}",
    "visit of another day": f"visit open grebe --on 2026-02-01 {BY}",
    "swap": swap(WHERE, "PC-1"),
    "swap elsewhere": swap(OTHER, "PC-1"),
    "swap, new card": swap(WHERE, "PC-2"),
    "location": "backup add red-stick ./stick",
    "card": f"card add grebe PC-3 {BY}",
    "card fitted": f"card add grebe PC-1 --unit winch {BY}",
    "card fitted elsewhere": f"card add grebe PC-1 --unit crane {BY}",
    "cross-over": f"card cross-over grebe/winch grebe/crane --reason 'to find the fault' {BY}",
}


def goes_on(laptop: Laptop) -> None:
    """Do all that a person does next, and end all that is open."""
    end_all(
        laptop,
        f"card cross-over grebe/winch grebe/crane --back --reason 'found' {BY}",
        "cross-over-none",
    )
    laptop.dump("R9.BIN", memory(1, ramp=170))
    laptop.yes(f"archive R9.BIN --vessel grebe --unit winch --position U12 {BY}")
    laptop.yes(f"measure grebe/winch core_rail=3.3V {BY}")
    for line in ("due", "catalogue", "history grebe/winch/U12", "card list", "backup list"):
        laptop.json(line)
    for where in (WHERE, OTHER):
        assert laptop.run(f"--json swap check {where}").code in (0, 1, 2)
        end_all(
            laptop, f"swap close {where} --abandoned --reason 'not today' {BY}", "swap-none-open"
        )
        laptop.yes(swap(where, "PC-9" if where == WHERE else "PC-10"))
        laptop.yes(f"swap close {where} --abandoned --reason 'not today' {BY}")
    end_all(laptop, "visit close grebe", "visit-none-open")
    laptop.yes(f"visit open grebe {BY}")
    laptop.yes("visit close")
    for location in laptop.json("backup list")["locations"]:
        laptop.yes(f"backup send {location['location']} --at {location['address']}")
        laptop.yes(f"backup remove {location['location']}")
    laptop.yes(f"card add grebe PC-1 --location ashore {BY}")
    laptop.yes("recheck")


def end_all(laptop: Laptop, line: str, fault: str) -> None:
    """Run a line that ends what is open, until nothing is: twice at most."""
    for _ in range(2):
        result = laptop.run(f"--json {line}")
        if result.code == 0:
            continue
        assert result.error["code"] == fault, (line, result)
        return
    laptop.refused(line, fault)


def of_a_person(pair: tuple[str, str]) -> bool:
    """Return whether one of them is open for the person who opened it: visits alone are."""
    return any(opening.startswith("visit") for opening in pair)


PAIRS = list(combinations_with_replacement(OPENINGS, 2))


@pytest.mark.parametrize("pair", PAIRS, ids=" and ".join)
def test_no_pair_of_open_things_is_a_dead_end(
    ship: Laptop, laptops: Callable[[str], Laptop], pair: tuple[str, str]
) -> None:
    """Each is opened by a person on one of two copies of a vault; after the merge both go on."""
    other = laptops("other")
    second_copy(ship, other, same_person=False)
    ship.yes(OPENINGS[pair[0]])
    other.yes(OPENINGS[pair[1]])
    merge(ship, other)
    goes_on(ship)
    if of_a_person(pair):
        goes_on(other)


@pytest.mark.parametrize("pair", [*filter(of_a_person, PAIRS)], ids=" and ".join)
def test_no_pair_that_one_person_opened_is_a_dead_end(
    ship: Laptop, laptops: Callable[[str], Laptop], pair: tuple[str, str]
) -> None:
    """The same, where both laptops are one person's."""
    other = laptops("other")
    second_copy(ship, other, same_person=True)
    ship.yes(OPENINGS[pair[0]])
    other.yes(OPENINGS[pair[1]])
    merge(ship, other)
    goes_on(ship)


def test_two_visits_of_one_person_are_closed_one_by_one(
    ship: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """The one opened last counts until it is closed; every command names the other."""
    other = laptops("other")
    second_copy(ship, other, same_person=True)
    ship.yes(f"visit open grebe --on 2026-02-01 {BY}")
    other.yes(f"visit open grebe {BY}")
    merge(ship, other)
    ship.dump("R9.BIN", memory(1, ramp=170))
    text = ship.yes(f"archive R9.BIN --unit winch --position U12 {BY}")
    assert "a further visit to grebe, of 2026-02-01, is open" in text
    assert "a further visit to grebe, of 2026-02-01, is open" in ship.yes("visit close")
    closed = ship.json("visit close")
    assert (closed["on"], closed["reads"]) == ("2026-02-01", 0)
    assert "a further visit" not in ship.yes(f"visit open grebe {BY}")


def test_a_visit_that_a_dead_laptop_opened_can_be_closed(
    ship: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """The vessel is named, and the answer says that another laptop opened it."""
    ship.yes(f"visit open grebe {BY}")
    other = laptops("other")
    second_copy(ship, other, same_person=False)
    other.refused("visit close", "visit-none-open")
    assert "was opened on another laptop" in other.yes("visit close grebe --by 'B. Office'")
    other.refused("visit close grebe", "visit-none-open")


def test_visits_to_two_vessels_need_the_name_of_one(ship: Laptop) -> None:
    """Nothing decides for the person: the refusal names both."""
    ship.yes(f"visit open grebe {BY}")
    ship.yes(f"visit open stint --new-vessel {BY}")
    error = ship.refused("visit close", "visit-several-open")
    assert "grebe" in error["found"]
    assert "stint" in error["found"]
    ship.yes("visit close stint")
    ship.yes("visit close")


def test_a_former_owners_backup_locations_do_not_count(
    ship: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """After `unpack` the new owner has no backup: `due` asks for one, `catalogue` says nowhere."""
    ship.yes("backup add red-stick ./stick")
    ship.yes("backup send red-stick")
    held = {line["where"]: line["locations"] for line in ship.json("catalogue")["positions"]}
    assert [location["location"] for location in held[WHERE]] == ["red-stick"]
    ship.yes("pack grebe --out GREBE.ZIP")
    owner = laptops("owner")
    shutil.copy2(ship.folder / "GREBE.ZIP", owner.folder)
    owner.yes("unpack GREBE.ZIP")
    catalogue = owner.json("catalogue")
    assert all(line["locations"] == [] for line in catalogue["positions"])
    assert catalogue["summary"]["in_no_backup_location"] == [OTHER, WHERE]
    reasons = {reason["code"] for line in owner.json("due")["due"] for reason in line["reasons"]}
    assert "one-location" in reasons
    owner.yes("backup add red-stick ./stick")
    owner.yes("backup send red-stick")
    assert owner.json("due")["due"] == []


def test_a_location_keeps_its_name_through_a_merge(
    ship: Laptop, laptops: Callable[[str], Laptop]
) -> None:
    """Two laptops call two sticks by one name: on each the name stays that of its own.

    So it does if another vault's files are copied in, whose locations are not this vault's.
    """
    other = laptops("other")
    second_copy(ship, other, same_person=False)
    stranger = laptops("stranger")
    stranger.dump("R1.BIN", memory(3))
    stranger.yes(f"archive R1.BIN --vessel stint --unit winch --position U1 {BY}")
    ids = {}
    for laptop in (ship, other, stranger):
        ids[laptop.folder] = laptop.json("backup add red-stick ./stick")["id"]
        laptop.yes("backup send red-stick")
    merge(ship, other)
    merge(ship, stranger)
    merge(ship, other)
    for laptop, count in ((ship, 2), (other, 2), (stranger, 1)):
        listed = {line["location"]: line["id"] for line in laptop.json("backup list")["locations"]}
        assert len(listed) == count
        assert listed["red-stick"] == ids[laptop.folder]
        laptop.yes("backup send red-stick")
    digits = f"red-stick~{ids[other.folder][:8]}"
    ship.yes(f"backup remove {digits}")
    ship.refused(f"backup send {digits}", "backup-unknown")
    ship.yes(f"backup send red-stick~{ids[ship.folder][:8]}")
