"""Invented swaps: sound ones, and ones with one thing wrong each, which must be refused for it.

    python -m tests.swap.invented_swaps [--count 500] [--seed 20261125]

prints how many of each kind were refused with the right condition named, and how many
sound ones went through to their end. All data is invented.
"""

from __future__ import annotations

import argparse
import random
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.errors import ParambakError
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.cards import record_sheet
from parambak.keeping.recording.entries import record_rules
from parambak.keeping.state.bodies import FunctionTest
from parambak.keeping.state.conditions import questions
from parambak.layouts import coverage
from parambak.layouts.decode import decode
from parambak.memory.image import Image
from parambak.swap import measurement_records, recording
from parambak.swap.card_sheet import read_sheet
from parambak.swap.limits import load_limits
from parambak.swap.measurements import read_measurements
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER, ReadBack, compare, start_up
from parambak.swap.recording import Release, record_load_file, record_read_back
from parambak.swap.state import SwapState, swap_state
from parambak.swap.swaps import the_open_swap
from tests.keeping.conftest import CHIPS, LAYOUT, MEMORY, WHERE, Laptop, image, incoming
from tests.swap.conftest import BY, shown_to_hold

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.layouts.model import Layout

SEED = 20261125
RULES = b"""
[rules]
title = "invented"
source = "invented"
[swap]
required = ["supply-voltages", "second-location", "card-sheet", "new-card"]
"""
LIMITS = load_limits(
    b"[limits]\ntitle = 'invented'\nsource = 'invented'\n[[measurement]]\nname = 'rail'\n"
    b"unit = 'V'\nnominal = 12\ntolerance-percent = 5\nsupply = true\n"
)
KINDS = (
    "a bit",
    "a link",
    "a version",
    "a stale copy",
    "one read only",
    "a lost backup location",
    "a bad supply",
    "start-up defaults",
)
# What must be named where each kind is refused: a condition, or the answer to a read-back.
NAMED = {
    "a bit": "differs before power",
    "a link": "new-card",
    "a version": "new-card",
    "a stale copy": "differs before power",
    "one read only": "read-twice",
    "a lost backup location": "second-location",
    "a bad supply": "supply-voltages",
    "start-up defaults": "at start-up",
}


@dataclass
class Swap:
    """One invented swap: its laptop, its chance, its memory, and what is wrong with it."""

    laptop: Laptop
    chance: random.Random
    memory: bytes
    wrong: str | None

    def sheet(self, *, new: bool) -> bytes:
        """Return the unit's card sheet, or the new card's."""
        software, link = "3.20", "1-2"
        if new and self.wrong == "a link":
            link = "2-3"
        if new and self.wrong == "a version":
            software = self.chance.choice(["3.2", "3.21", "4.0"])
        text = f'[card]\ntype = "TC-2"\nsoftware = "{software}"\n[links]\nJ1 = "{link}"\n'
        return text.encode()


def told(swap: Swap) -> str | None:
    """Carry one swap through; return what it was refused for, None where it was closed."""
    _archive(swap)
    _prepare(swap)
    found = _standing(swap)
    wanting = found.readiness().missing
    if wanting:
        return ", ".join(wanting)
    _release(swap, found)
    stages: tuple[tuple[str, Callable[[Swap], bytes]], ...] = (
        (BEFORE_POWER, _loaded),
        (AFTER_POWER, _powered),
    )
    for stage, memory in stages:
        refused = _read_back(swap, found, stage, memory(swap))
        if refused:
            return refused
    tests = (FunctionTest(name="stop", result="passed"),)
    recording.close(swap.laptop.vault, WHERE, tests=tests, by=BY, reason=None, old_card_to="ashore")
    return None


def _archive(swap: Swap) -> None:
    laptop = swap.laptop
    if swap.wrong == "a stale copy":
        older = _moved(swap.memory, 0x60 + swap.chance.randrange(0x20))
        laptop.take(older, older, layout=LAYOUT, chip="T256", read_on="2026-01-10")
    reads = [swap.memory] if swap.wrong == "one read only" else [swap.memory, swap.memory]
    laptop.take(*reads, layout=LAYOUT, chip="T256")


def _prepare(swap: Swap) -> None:
    """Put rules, sheet, measurements, a backup location and all answers on record."""
    laptop = swap.laptop
    record_rules(laptop.vault, vessel="grebe", name="rules.toml", data=RULES, by=BY)
    sheet = swap.sheet(new=False)
    record_sheet(laptop.vault, where="grebe/port-thruster", name="s.toml", data=sheet, by=BY)
    _measure(swap)
    recording.open_swap(
        laptop.vault, WHERE, why="dead", by=BY, route="load", old_card="P1", new_card="P2"
    )
    for name in questions():
        recording.answer(laptop.vault, WHERE, [recording.GivenAnswer(name, "yes", "seen")], by=BY)
    if swap.wrong != "a lost backup location":
        shown_to_hold(laptop)


def _measure(swap: Swap) -> None:
    value = swap.chance.uniform(11.41, 12.59)
    if swap.wrong == "a bad supply":
        value = swap.chance.choice([swap.chance.uniform(9, 11.39), swap.chance.uniform(12.61, 14)])
    readings = read_measurements([f"rail={value:.3f}V"], [], LIMITS.by_name)
    vault = swap.laptop.vault
    with vault.writing() as writing:
        measurement_records.record(
            writing,
            measurement_records.measuring_point(swap.laptop.fleet, "grebe/port-thruster"),
            readings,
            stage=measurement_records.AS_FOUND,
            limits=None,
            instrument="invented",
            calibrated=None,
            on=None,
            visit=None,
            by=BY,
            remark=None,
        )


def _standing(swap: Swap) -> SwapState:
    assessor = Assessor(swap.laptop.vault, CHIPS)
    return swap_state(swap.laptop.fleet, assessor, WHERE, read_sheet(swap.sheet(new=True)))


def _release(swap: Swap, found: SwapState) -> None:
    assert found.copy is not None
    assert found.swap is not None
    release = Release("raw", ("ab" * 32,), swap=found.swap.id, by=BY)
    image_meant = Image.of(swap.memory)
    record_load_file(swap.laptop.vault, found.position, found.copy, image_meant, release)


def _loaded(swap: Swap) -> bytes:
    """Return what the new card holds once it was loaded."""
    if swap.wrong == "a bit":
        return _moved(swap.memory, swap.chance.randrange(MEMORY))
    if swap.wrong == "a stale copy":
        older = swap.laptop.position().copies[0]
        return Assessor(swap.laptop.vault).image(older.image).content
    return swap.memory


def _powered(swap: Swap) -> bytes:
    """Return what it holds once it was powered: a counter and a clock moved on."""
    data = bytearray(swap.memory)
    data[0x23] ^= swap.chance.randrange(1, 256)
    data[0x31] ^= swap.chance.randrange(1, 256)
    if swap.wrong == "start-up defaults":
        for at in range(0x50, 0x50 + swap.chance.randrange(4, 0x30)):
            data[at] = 0xFF ^ data[at]
        data[0x80:0x82] = (sum(data[0x40:0x80]) & 0xFFFF).to_bytes(2, "big")
    return bytes(data)


def _moved(memory: bytes, at: int) -> bytes:
    data = bytearray(memory)
    data[at] ^= 1 << (at % 8)
    if 0x40 <= at < 0x80:
        data[0x80:0x82] = (sum(data[0x40:0x80]) & 0xFFFF).to_bytes(2, "big")
    return bytes(data)


def _read_back(swap: Swap, found: SwapState, stage: str, memory: bytes) -> str | None:
    """Read the card back twice; return what speaks against it."""
    assert found.copy is not None
    assert found.swap is not None
    layout = Assessor(swap.laptop.vault, CHIPS).layout_of(found.position)
    assert layout is not None
    answers = [
        (each, _compared(swap.memory, each.image, stage, layout))
        for each in (incoming(memory), incoming(memory))
    ]
    record_read_back(
        swap.laptop.vault, found.position, found.copy, answers, by=BY, swap=found.swap.id
    )
    answer = answers[0][1]
    if answer.loaded_correctly:
        return None
    if stage == BEFORE_POWER:
        return "differs before power"
    wrote = start_up(
        Image.of(memory), answer.differences, held_before=_held_before(swap), memories={}
    )
    return "at start-up" if wrote else "differs after power"


def _held_before(swap: Swap) -> bool:
    vessel = swap.laptop.fleet.vessels[0]
    so_far = the_open_swap(swap.laptop.vault, vessel, swap.laptop.position())
    return any(
        step.body.stage == BEFORE_POWER and step.body.loaded_correctly for step in so_far.read_backs
    )


def _compared(selected: bytes, read: Image, stage: str, layout: Layout) -> ReadBack:
    if stage == BEFORE_POWER:
        return compare(Image.of(selected), read, stage)
    moving = dict(coverage.masks(layout, "running"))
    for address, bits in coverage.masks(layout, "volatile").items():
        moving[address] = moving.get(address, 0) | bits
    return compare(Image.of(selected), read, stage, moving, decode(layout, read).checks)


def one(seed: int, wrong: str | None, folder: Path) -> str | None:
    """Invent one swap in a folder and carry it through; return what it was refused for."""
    chance = random.Random(seed)
    laptop = Laptop(folder)
    try:
        return told(Swap(laptop, chance, image(seed), wrong))
    except ParambakError as error:
        return error.code
    finally:
        laptop.close()
        shutil.rmtree(folder, ignore_errors=True)


def main(arguments: list[str]) -> int:
    """Run the sound and the wrong ones, and print the figures; 1 where any is stated wrongly."""
    parser = argparse.ArgumentParser(description="Invented swaps, sound and wrong.")
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args(arguments)
    wrong: dict[str, list[str | None]] = {kind: [] for kind in KINDS}
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "swap"
        sound = [one(options.seed + n, None, folder) for n in range(options.count)]
        for number in range(options.count):
            kind = KINDS[number % len(KINDS)]
            wrong[kind].append(one(options.seed + options.count + number, kind, folder))
    passed = sound.count(None)
    sys.stdout.write(f"sound: {passed} of {len(sound)} closed\n")
    right = 0
    for kind, found in wrong.items():
        named = found.count(NAMED[kind])
        right += named
        others = sorted({str(each) for each in found} - {NAMED[kind]})
        more = f"; otherwise: {', '.join(others)}" if others else ""
        sys.stdout.write(f"{kind}: {named} of {len(found)} refused for {NAMED[kind]}{more}\n")
    return 0 if passed == len(sound) and right == options.count else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
