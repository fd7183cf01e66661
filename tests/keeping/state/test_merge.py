"""Vaults merged by copying files or by packs, in any order: one and the same fleet."""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import CallRefused, NotFound
from parambak.keeping.recording.cards import enter_card, record_sheet
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.packs import pack, take_pack
from parambak.memory.digests import sha256
from parambak.vault.check.recheck import recheck
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from parambak.keeping.state.model import Fleet


class Step(NamedTuple):
    """One thing done on one of two laptops, or the files of one copied to the other."""

    laptop: int
    what: str
    vessel: str
    unit: str
    seed: int


STEPS = st.builds(
    Step,
    st.integers(0, 1),
    st.sampled_from(
        [
            "take",
            "take",
            "rename",
            "number",
            "fact",
            "day",
            "move",
            "card",
            "sheet",
            "merge",
            "pack",
        ]
    ),
    st.sampled_from(["grebe", "avocet"]),
    st.sampled_from(["port", "stern"]),
    st.integers(0, 2),
)
NUMBERS = ("1234567", "1234579", "1234567")


def do(laptops: list[Laptop], step: Step) -> None:
    """Do a step; what is refused changes nothing."""
    one, other = laptops[step.laptop], laptops[1 - step.laptop]
    unit = f"{step.vessel}/{step.unit}"
    one.now = max(one.now, other.now) if step.seed == 2 else one.now
    try:
        if step.what == "take":
            data = image(step.seed)
            one.take(data, where=f"{unit}/U1", new_vessel=True, position_confirmed=True)
        elif step.what == "merge":
            if one.root.exists() and other.root.exists():
                one.merge_from(other)
        elif step.what == "pack":
            if one.root.exists() and other.root.exists():
                unpack_all(other, one)
        elif step.what == "card":
            enter_card(
                one.vault,
                vessel=step.vessel,
                serial=f"PC-{step.seed}",
                location="ashore",
                card_type=None,
                by="A. Invented",
            )
        elif step.what == "sheet":
            record_sheet(one.vault, where=unit, name="s", data=b"a = %d\n" % step.seed, by=None)
        else:
            tell(one, step, unit)
    except (NotFound, CallRefused):
        pass


def tell(one: Laptop, step: Step, unit: str) -> None:
    """Tell a fact."""
    facts = {
        "rename": (step.vessel, {"short": ("heron", "grebe", "avocet")[step.seed]}),
        "number": (step.vessel, {"imo": NUMBERS[step.seed]}),
        "fact": (unit, {"serial": f"S-{step.seed}", "maker_type": "TC-4"}),
        "day": (f"{unit}/U1@latest", {"read_on": f"2026-02-0{step.seed + 1}"}),
        "move": (
            f"{unit}/U1@latest",
            {"position": f"{step.vessel}/{('port', 'stern')[step.seed % 2]}/U1"},
        ),
    }
    where, told = facts[step.what]
    correct(one.vault, where, told, by="A. Invented", why=None)


def unpack_all(source: Laptop, target: Laptop) -> None:
    """Pack every vessel of one laptop, and take the pack in on the other."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "all.zip"
        handles = [vessel.handle for vessel in source.fleet.vessels]
        if handles:
            pack(source.vault, handles, file, silent, replace=False)
            assert take_pack(target.vault, file, silent).joined.refused == ()


def silent(_done: int, _total: int) -> None:
    """Take progress and show nothing."""


def merged(folder: Path, sources: list[Laptop]) -> Fleet:
    """Return what a new vault knows into which the files of others are copied in this order."""
    laptop = Laptop(folder)
    first = next(source for source in sources if source.root.exists())
    made = first.copy_to(folder)
    made.root = laptop.root
    for source in sources:
        if source.root.exists():
            made.merge_from(source)
    known = made.fleet
    made.close()
    return known


def told(known: Fleet) -> list[object]:
    """Return what a fleet is about its vessels; when it was rechecked is of one vault alone."""
    return [
        (v.handle, v.ids, v.facts, v.former, v.conflicts, v.units, v.cards, v.visits)
        for v in known.vessels
    ]


@settings(max_examples=12, deadline=None)
@given(st.lists(STEPS, min_size=2, max_size=9))
def test_merged_in_either_order_the_fleet_is_the_same(steps: list[Step]) -> None:
    """And merging again changes nothing; no read is lost; each name finds its one vessel."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        laptops = [Laptop(folder / "one"), Laptop(folder / "two", start=7)]
        do(laptops, Step(0, "take", "grebe", "port", 0))
        for step in steps:
            do(laptops, step)
        reads = {
            read.record
            for laptop in laptops
            if laptop.root.exists()
            for vessel in laptop.fleet.vessels
            for position in vessel.positions
            for read in position.reads
        }
        one_way = merged(folder / "a", laptops)
        packed = Laptop(folder / "d")
        for laptop in (*laptops[::-1], *laptops):
            if laptop.root.exists():
                unpack_all(laptop, packed)
        assert told(packed.fleet) == told(one_way)
        packed.close()
        assert one_way == merged(folder / "b", laptops[::-1])
        assert one_way == merged(folder / "c", [*laptops, *laptops])
        kept = {r.record for v in one_way.vessels for p in v.positions for r in p.reads}
        assert kept == reads
        handles = [vessel.handle.casefold() for vessel in one_way.vessels]
        assert len(set(handles)) == len(handles)
        for laptop in laptops:
            laptop.close()


def corrected(folder: Path) -> list[Laptop]:
    """Return three laptops: one ship entered on two, and each mistake corrected on one of them.

    The office has both ships' records and corrects what the others got wrong.
    """
    home, aboard = Laptop(folder / "home"), Laptop(folder / "aboard", start=5)
    home.take(image(1), where="grebe/port-thruster/U1")
    home.take(image(2), where="grebe/port-thruster/U1", position_confirmed=True)
    aboard.take(image(3), where="greeb/stern-thruster/U1")
    correct(aboard.vault, "greeb", {"short": "grebe"}, by="B. Invented", why="misspelt")
    for each in (home, aboard):
        correct(each.vault, "grebe", {"imo": "1234567"}, by=None, why="ship's certificate")
    office = home.copy_to(folder / "office")
    office.merge_from(aboard)
    office.on("2026-03-04")
    office.take(image(7), where="grebe/port-thruster/U2", position_confirmed=True)
    wrong = f"grebe/port-thruster/U1@{sha256(image(2))[:12]}"
    correct(office.vault, wrong, {"read_on": "2026-02-01"}, by="C. Invented", why="the log says so")
    correct(
        office.vault, wrong, {"position": "grebe/port-thruster/U2"}, by=None, why="other socket"
    )
    aboard.on("2026-03-05")
    correct(aboard.vault, "grebe/stern-thruster", {"serial": "S-9"}, by=None, why=None)
    return [home, aboard, office]


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
@pytest.mark.parametrize("by_pack", [False, True])
def test_one_ship_joined_and_corrected_in_any_order(
    tmp_path: Path, order: tuple[int, ...], by_pack: bool
) -> None:
    """Two identities are one ship; its name, a date and a position are as they were corrected."""
    laptops = corrected(tmp_path)
    target = Laptop(tmp_path / "target")
    for number in order:
        if by_pack:
            unpack_all(laptops[number], target)
        elif target.root.exists():
            target.merge_from(laptops[number])
        else:
            target = laptops[number].copy_to(tmp_path / "target")
    (ship,) = target.fleet.vessels
    assert len(ship.ids) == 2
    assert (ship.short, ship.former) == ("grebe", ("greeb",))
    assert ship.conflicts == ()
    assert [unit.short for unit in ship.units] == ["port-thruster", "stern-thruster"]
    assert ship.units[1].facts["serial"] == "S-9"
    first = [read.image.sha256 for read in target.position("grebe/port-thruster/U1").reads]
    second = target.position("grebe/port-thruster/U2").reads
    assert first == [sha256(image(1))]
    assert {read.image.sha256 for read in second} == {sha256(image(2)), sha256(image(7))}
    moved = next(read for read in second if read.image.sha256 == sha256(image(2)))
    assert moved.read_on.isoformat() == "2026-02-01"
    assert recheck(target.vault, silent).damaged == ()
    for each in (*laptops, target):
        each.close()
