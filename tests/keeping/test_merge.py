"""Two vaults merged by copying files, in either order: one and the same fleet."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.errors import CallRefused, NotFound
from parambak.keeping.entries import amend, enter_card, record_sheet
from tests.keeping.conftest import Laptop, image

if TYPE_CHECKING:
    from parambak.keeping.known import Fleet


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
    st.sampled_from(["take", "take", "rename", "number", "fact", "day", "card", "sheet", "merge"]),
    st.sampled_from(["grebe", "avocet"]),
    st.sampled_from(["port", "stern"]),
    st.integers(0, 2),
)
NUMBERS = ("9074729", "9321483", "9074729")


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
        elif step.what == "card":
            enter_card(
                one.vault,
                vessel=step.vessel,
                serial=f"PC-{step.seed}",
                whereabouts="ashore",
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
    }
    where, told = facts[step.what]
    amend(one.vault, where, told, by="A. Invented", why=None)


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
        assert one_way == merged(folder / "b", laptops[::-1])
        assert one_way == merged(folder / "c", [*laptops, *laptops])
        kept = {r.record for v in one_way.vessels for p in v.positions for r in p.reads}
        assert kept == reads
        handles = [vessel.handle.casefold() for vessel in one_way.vessels]
        assert len(set(handles)) == len(handles)
        for laptop in laptops:
            laptop.close()
