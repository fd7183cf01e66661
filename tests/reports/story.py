"""An invented swap, visit and copy, told into a vault as far as a test wants it."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from parambak.errors import NotProven
from parambak.keeping.assess import Assessor
from parambak.keeping.recording import visits
from parambak.keeping.recording.cards import record_sheet
from parambak.keeping.recording.remarks import record_remark
from parambak.keeping.state.bodies import FunctionTest
from parambak.keeping.state.fold import fleet
from parambak.memory.image import Image, Range
from parambak.reports.copy_page import copy_page
from parambak.reports.parts import Desk
from parambak.reports.swap_page import swap_page
from parambak.reports.visit_page import visit_page
from parambak.swap import ending, measurement_records, recording
from parambak.swap.closing import GivenNow
from parambak.swap.ending import Ending
from parambak.swap.guard import Acceptance, acceptable, cleared
from parambak.swap.limits import load_limits
from parambak.swap.measurements import read_measurements
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER, compare
from parambak.swap.recording import Release, record_load_file, record_read_back
from parambak.swap.state import SwapState, swap_state
from parambak.swap.swaps import swaps_at
from tests.keeping.conftest import CHIPS, LAYOUT, WHERE, image, incoming

if TYPE_CHECKING:
    from parambak.swap.swaps import Swap
    from tests.keeping.conftest import Laptop

BY = "A. Invented"
UNIT = "grebe/port-thruster"
GROUP = b"""
[[group]]
name = "channel"
at = 0x90
count = 3
row-size = 8
rows = ["bow", "stern", "spare"]
  [[group.field]]
  name = "upper_limit"
  at = 0
  type = "u16"
  unit = "bar"
  low-from = "lower_limit"
  [[group.field]]
  name = "lower_limit"
  at = 2
  type = "u16"
  unit = "bar"
  belongs-to-card = true
"""
LIMITS = (
    b"[limits]\ntitle = 'invented'\nsource = 'invented'\ncalibration-months = 12\n"
    b"[[measurement]]\nname = 'relay_rail'\nunit = 'V'\nnominal = 12\ntolerance-percent = 5\n"
    b"supply = true\n[[measurement]]\nname = 'pump'\nunit = 'rpm'\nnominal = 950\n"
    b"tolerance = 8\nteeth = 36\n"
)
SHEET = b'[card]\ntype = "TC-2"\nsoftware = "3.20"\n[links]\nJ1 = "1-2"\n[fuses]\nF1 = "2 A"\n'
NEW_SHEET = b'[card]\ntype = "TC-2"\nsoftware = "3.20"\n[links]\nJ1 = "2-3"\n'
MEANT = image(3)


def changed(at: int) -> bytes:
    """Return the memory selected with one bit wrong."""
    return MEANT[:at] + bytes([MEANT[at] ^ 1]) + MEANT[at + 1 :]


def measure(laptop: Laptop, *typed: str, on: str | None = None, visit: str | None = None) -> None:
    """Put readings on record, with the limits of the story."""
    readings = read_measurements(typed, ["gap=invented reason"], None)
    readings = (*read_measurements(typed, [], load_limits(LIMITS).by_name), readings[-1])
    with laptop.vault.writing() as writing:
        measurement_records.record(
            writing,
            measurement_records.measuring_point(laptop.fleet, UNIT),
            readings,
            stage=measurement_records.AS_FOUND,
            limits=("limits.toml", LIMITS),
            instrument="meter 7",
            calibrated="2024-01-10",
            on=on,
            visit=visit,
            by=BY,
            remark="cabinet was warm",
        )


def read_back(laptop: Laptop, *memories: bytes, stage: str = BEFORE_POWER) -> None:
    """Read the card back, each memory in a file of its own."""
    moving = dict.fromkeys((*range(0x20, 0x24), 0x30, 0x31), 0xFF) if stage == AFTER_POWER else {}
    (swap,) = story(laptop)[-1:]
    selected = Image.of(MEANT)
    reads = [(incoming(m), compare(selected, Image.of(m), stage, moving)) for m in memories]
    copy = next(c for c in laptop.position().copies if c.reads[0].remark == "the copy's remark")
    record_read_back(laptop.vault, laptop.position(), copy, reads, by=BY, swap=swap.id)


def story(laptop: Laptop) -> tuple[Swap, ...]:
    """Return the swaps on record."""
    known = laptop.fleet
    return swaps_at(laptop.vault, known.vessels[0], laptop.position())


def prepare(laptop: Laptop) -> None:
    """Archive two copies, and what else is known before a swap."""
    laptop.verified(image(3, {0x50: 0xA5}), layout=LAYOUT + GROUP)
    laptop.verified(MEANT, layout=LAYOUT + GROUP, remark="the copy's remark", reader="bench 2")
    record_sheet(laptop.vault, where=UNIT, name="unit.toml", data=SHEET, by=BY)
    measure(laptop, "relay_rail=11,52V", "pump=569Hz", on="2025-06-01")
    measure(laptop, "relay_rail=11.38V")


def begin(laptop: Laptop, route: str = "load") -> None:
    """Open the swap, tell what a person knows, accept a deviation, release a file."""
    vault = laptop.vault
    recording.open_swap(
        Assessor(vault, CHIPS),
        WHERE,
        why="stays dark",
        by=BY,
        route=route,
        old_card="P1",
        new_card="P2",
    )
    record_sheet(laptop.vault, where="grebe/card:P2", name="new.toml", data=NEW_SHEET, by=BY)
    for condition, text in (
        ("impact", "alarm 14 is out meanwhile"),
        ("fallback-plan", "stop at noon"),
    ):
        recording.answer(vault, WHERE, [recording.GivenAnswer(condition, "yes", text)], by=BY)
    recording.answer(vault, WHERE, [recording.GivenAnswer("permit", "no", "nobody to sign")], by=BY)
    accept(laptop, Acceptance(("permit",), "drifting", "B. Master"))
    copy = laptop.latest()
    entries = state(laptop).readiness().entries
    swap = story(laptop)[-1].id
    release = Release("raw", ("ab" * 32,), swap, BY, unverified=True, conditions=entries)
    record_load_file(laptop.vault, laptop.position(), copy, Image.of(MEANT), release)


def prove(laptop: Laptop) -> None:
    """Read back a wrong one, then two good ones, then one after power."""
    read_back(laptop, changed(0xC0))
    read_back(laptop, MEANT, MEANT)
    read_back(laptop, changed(0x23), stage=AFTER_POWER)


def close(laptop: Laptop) -> None:
    """Test, first with a failure, and close; what is missing is accepted."""
    assessor = Assessor(laptop.vault, CHIPS)
    for result, text in (("failed", "relay stuck"), ("passed", "at once")):
        given = GivenNow((FunctionTest(name="stop", result=result, text=text),), "ashore")
        missing = state(laptop, now=given, loaded=True).readiness(closing=True).missing
        able = tuple(name for name in missing if name in acceptable(closing=True))
        how = Ending(BY, "relay cleaned", given, Acceptance(able, "drifting", "B. Master"))
        with suppress(NotProven):
            ending.close(assessor, WHERE, how)


def state(laptop: Laptop, **words: Any) -> SwapState:
    """Return the state of the open swap."""
    return swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE, **words)


def accept(laptop: Laptop, acceptance: Acceptance) -> None:
    """Accept conditions of the open swap unmet."""
    step = cleared(state(laptop), acceptance)
    with laptop.vault.writing() as writing:
        step.put(writing, acceptance)


def say(laptop: Laptop) -> None:
    """Put a remark on the last change on record."""
    old, new = laptop.position().copies[-2:]
    ranges = [Range(0x23, 1)]
    words = {"text": "set by hand", "by": BY}
    record_remark(laptop.vault, WHERE, copies=(old, new), ranges=ranges, **words)


def whole(laptop: Laptop) -> None:
    """Tell the whole story: a swap removed, one closed, and a visit around them."""
    prepare(laptop)
    visits.open_visit(
        laptop.vault, vessel="grebe", on="2026-03-01", by=BY, reader="bench 2", confirmed=False
    )
    recording.open_swap(
        Assessor(laptop.vault),
        WHERE,
        why="first try",
        by=BY,
        route="load",
        old_card="P1",
        new_card=None,
    )
    ending.abandon(Assessor(laptop.vault), WHERE, tests=(), by=BY, reason="no spare aboard")
    begin(laptop)
    prove(laptop)
    close(laptop)
    visit = laptop.fleet.vessels[0].visits[0].id
    measure(laptop, "relay_rail=11.51V", visit=visit)
    laptop.take(changed(0x22), changed(0x22), visit=visit, written="set at the panel")
    say(laptop)
    visits.close_visit(
        laptop.vault, today=laptop.now.date(), vessel="grebe", remark="winch next time"
    )


def desk(laptop: Laptop) -> Desk:
    """Return what pages are made from."""
    vault = laptop.vault
    return Desk(fleet(vault), Assessor(vault, CHIPS), laptop.clock())


def swap_bytes(laptop: Laptop, number: int = -1) -> bytes:
    """Return the page of a swap."""
    return swap_page(desk(laptop), WHERE, story(laptop)[number])


def copy_bytes(laptop: Laptop) -> bytes:
    """Return the page of the newest copy."""
    at = desk(laptop)
    vessel = at.fleet.vessels[0]
    copy = laptop.latest()
    return copy_page(at, vessel, vessel.units[0], laptop.position(), copy)


def visit_bytes(laptop: Laptop) -> bytes:
    """Return the page of the visit."""
    at = desk(laptop)
    vessel = at.fleet.vessels[0]
    return visit_page(at, vessel, vessel.visits[-1])


PAGES = {"swap": swap_bytes, "copy": copy_bytes, "visit": visit_bytes}
