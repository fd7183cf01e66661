"""Invented swaps: sound ones, and ones with one thing wrong each, which must be refused for it.

    python -m tests.swap.invented_swaps [--count 500] [--seed 20261125]

carries so many sound ones to their end, so many of the kinds in `KINDS`, and as many again of
those in `SKIPPED`, and prints how many were refused with the right condition named. A person who
does something wrong goes on as if nothing was said: each step is asked again until one refuses.
All data is invented. It asks the questions that the commands ask, in this process.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

import pytest

from parambak.answers.archive import ArchiveQuestion
from parambak.answers.card.record import CardRecordQuestion
from parambak.answers.measure import MeasureQuestion
from parambak.answers.rules.record import RulesRecordQuestion
from parambak.answers.swap.answer import SwapAnswerQuestion
from parambak.answers.swap.check import SwapCheckQuestion
from parambak.answers.swap.close import SwapCloseQuestion
from parambak.answers.swap.load_file import SwapLoadFileQuestion
from parambak.answers.swap.open import SwapOpenQuestion
from parambak.answers.swap.read_back import SwapReadBackQuestion
from parambak.api import ask, open_vault
from parambak.errors import NotProven, ParambakError
from parambak.keeping.state.conditions import CONDITIONS, OPEN, questions
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER
from tests.keeping.conftest import LAYOUT, MEMORY, WHERE, image
from tests.swap.conftest import BY, shown_to_hold

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.answers.swap.read_back import SwapReadBackAnswer
    from parambak.vault.vault import Vault

SEED = 20261125
RULES = b"""
[rules]
title = "invented"
source = "invented"
[swap]
required = ["supply-voltages", "second-location", "card-sheet", "new-card"]
[[function-tests]]
tests = ["emergency stop"]
"""
LIMITS = (
    b"[limits]\ntitle = 'invented'\nsource = 'invented'\n[[measurement]]\nname = 'rail'\n"
    b"unit = 'V'\nnominal = 12\ntolerance-percent = 5\nsupply = true\n"
)
TESTS = ("emergency stop", "ramp up", "change-over")
ASKED = ", ".join(condition.name for condition in CONDITIONS if condition.required is OPEN)
# What must be named where each kind is refused: conditions, or the answer to a read-back.
KINDS = {
    "a bit": "differs before power",
    "a link": "new-card",
    "a version": "new-card",
    "a stale copy": "differs before power",
    "one read only": "read-twice",
    "a lost backup location": "second-location",
    "a bad supply": "supply-voltages",
    "start-up defaults": "at start-up",
}
SKIPPED = {
    "nothing answered": ASKED,
    "other software": "new-card",
    "no read-back before power": "read-back-before-power",
    "no read-back after power": "read-back-after-power",
    "the same file after power": "read-back-after-power",
    "a listed test left out": "listed-tests",
    "a failed test, then another that passes": "function-tests",
    "the old card not stated": "old-card-state",
    "an archived file read back": "read-back-archived",
    "a permit taken back": "permit",
}
NAMED = KINDS | SKIPPED
FILE_TIME = int(time.time()) + 60  # no read of a new card is older than the file loaded


@dataclass
class Swap:
    """One invented swap: its folder, its session, its chance, its memory, and what is wrong."""

    folder: Path
    session: Session
    chance: random.Random
    memory: bytes
    wrong: str | None
    files: int = field(default=0)

    @property
    def vault(self) -> Vault:
        """Return the vault."""
        return self.session.vault

    def write(self, name: str, data: bytes) -> str:
        """Write a file, a minute later than the last one; return its path."""
        self.files += 1
        path = self.folder / name
        path.write_bytes(data)
        os.utime(path, (FILE_TIME + 60 * self.files,) * 2)
        return str(path)

    def dumps(self, stage: str, *memories: bytes) -> tuple[str, ...]:
        """Write dumps as a reader does; return their paths."""
        return tuple(self.write(f"{stage}{n}.bin", data) for n, data in enumerate(memories))

    def sheet(self, *, new: bool) -> bytes:
        """Return the unit's card sheet, or the new card's."""
        software, link = "3.20", "1-2"
        if new and self.wrong == "a link":
            link = "2-3"
        if new and self.wrong in {"a version", "other software"}:
            software = self.chance.choice(["3.2", "3.21", "4.0"])
        text = f'[card]\ntype = "TC-2"\nsoftware = "{software}"\n[links]\nJ1 = "{link}"\n'
        tests = ", ".join(f'"{test}"' for test in TESTS[1:])
        return f"{text}[function-tests]\nrequired = [{tests}]\n".encode() + (b"#" if new else b"")


def outcome(swap: Swap) -> str | None:
    """Carry one swap through; return what it was refused for, None where it was closed."""
    _archive(swap)
    _prepare(swap)
    try:
        out = str(swap.folder / "LOAD.BIN")
        ask(swap.session, SwapLoadFileQuestion(where=WHERE, out=out, format_name="raw", by=BY))
        wrong = _read_backs(swap)
        if wrong is not None:
            return wrong
        if swap.wrong == "a permit taken back":
            words = ("permit=no: the chief engineer took it back",)
            ask(swap.session, SwapAnswerQuestion(where=WHERE, words=words, by=BY))
        _close(swap)
    except ParambakError as error:
        names = error.text.rpartition(": ")[2]
        return names if error.code in {"swap-not-ready", "swap-not-finished"} else error.code
    return None


def _archive(swap: Swap) -> None:
    layout = swap.write("layout.toml", LAYOUT)
    reads = [swap.memory] if swap.wrong == "one read only" else [swap.memory, swap.memory]
    if swap.wrong == "a stale copy":
        _take(swap, "older", [_older(swap.memory)] * 2, layout, on="2026-01-10")
    _take(swap, "read", reads, layout)


def _take(swap: Swap, name: str, reads: list[bytes], layout: str, on: str | None = None) -> None:
    question = ArchiveQuestion(
        swap.dumps(name, *reads),
        "U12",
        vessel="grebe",
        unit="port-thruster",
        layout=layout,
        chip="24C02",
        read_on=on,
        by=BY,
    )
    ask(swap.session, question)


def _prepare(swap: Swap) -> None:
    """Put rules, sheets, measurements, a backup location and all answers on record."""
    session, unit = swap.session, "grebe/port-thruster"
    rules = swap.write("rules.toml", RULES)
    ask(session, RulesRecordQuestion(vessel="grebe", file=rules, by=BY))
    sheet = swap.write("unit.toml", swap.sheet(new=False))
    ask(session, CardRecordQuestion(where=unit, sheet=sheet, by=BY))
    value = swap.chance.uniform(11.41, 12.59)
    if swap.wrong == "a bad supply":
        value = swap.chance.choice([swap.chance.uniform(9, 11.39), swap.chance.uniform(12.61, 14)])
    limits = swap.write("limits.toml", LIMITS)
    measured = MeasureQuestion(where=unit, readings=(f"rail={value:.3f}V",), limits=limits, by=BY)
    ask(session, measured)
    opening = SwapOpenQuestion(
        where=WHERE, by=BY, reason="dead", old_card="P1", new_card_serial="P2"
    )
    ask(session, opening)
    if swap.wrong != "nothing answered":
        words = tuple(f"{name}=yes: seen" for name in questions())
        ask(session, SwapAnswerQuestion(where=WHERE, words=words, by=BY))
    if swap.wrong != "a lost backup location":
        shown_to_hold(swap)
    new = swap.write("new.toml", swap.sheet(new=True))
    check = ask(session, SwapCheckQuestion(where=WHERE, new_card=new))
    early = swap.wrong in {"one read only", "a bad supply", "a lost backup location"}
    early |= swap.wrong in {"a link", "a version", "other software", "nothing answered"}
    assert check.ready is not early, (swap.wrong, check.missing)


def _read_backs(swap: Swap) -> str | None:
    """Read the card back before power and after it; return what is wrong with it."""
    stages = [(BEFORE_POWER, _loaded(swap)), (AFTER_POWER, _powered(swap))]
    if swap.wrong == "no read-back before power":
        stages = stages[1:]
    if swap.wrong == "no read-back after power":
        stages = stages[:1]
    for stage, memory in stages:
        dumps = swap.dumps(stage, memory, memory)
        if swap.wrong == "the same file after power" and stage == AFTER_POWER:
            dumps = tuple(str(swap.folder / f"{BEFORE_POWER}{n}.bin") for n in range(2))
        if swap.wrong == "an archived file read back":
            dumps = (str(swap.folder / "read0.bin"),)
        back = ask(swap.session, SwapReadBackQuestion(where=WHERE, dumps=dumps, stage=stage, by=BY))
        if not back.loaded_correctly:
            _stays_open(swap)
            return _wrong(back)
    return None


def _wrong(back: SwapReadBackAnswer) -> str:
    if back.stage == BEFORE_POWER:
        return "differs before power"
    return "at start-up" if back.start_up else "differs after power"


def _stays_open(swap: Swap) -> None:
    """Insist that a card that was read back wrong closes no swap, in an emergency neither."""
    for emergency in (False, True):
        closing = SwapCloseQuestion(
            where=WHERE,
            by=BY,
            tests=tuple(f"{test}=passed" for test in TESTS),
            old_card_to="ashore",
            emergency=emergency,
            reason="stopped at sea",
        )
        with pytest.raises(NotProven, match="contents-proven"):
            ask(swap.session, closing)


def _close(swap: Swap) -> None:
    tests = [f"{test}=passed" for test in TESTS]
    if swap.wrong == "a listed test left out":
        tests.pop(swap.chance.randrange(len(tests)))
    if swap.wrong == "a failed test, then another that passes":
        failed = (f"{swap.chance.choice(['horn', 'lamp'])}=failed: no sound",)
        with pytest.raises(NotProven, match="function-tests"):
            _closing(swap, failed)
    _closing(swap, tuple(tests))


def _closing(swap: Swap, tests: tuple[str, ...]) -> None:
    closing = SwapCloseQuestion(where=WHERE, by=BY, tests=tests, old_card_to="ashore")
    if swap.wrong == "the old card not stated":
        closing = SwapCloseQuestion(where=WHERE, by=BY, tests=tests)
    ask(swap.session, closing)


def _loaded(swap: Swap) -> bytes:
    """Return what the new card holds once it was loaded."""
    if swap.wrong == "a bit":
        return _moved(swap.memory, swap.chance.randrange(MEMORY))
    return _older(swap.memory) if swap.wrong == "a stale copy" else swap.memory


def _older(memory: bytes) -> bytes:
    return _moved(memory, 0x60 + memory[0] % 0x20)


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


def one(seed: int, wrong: str | None, folder: Path) -> str | None:
    """Invent one swap in a folder and carry it through; return what it was refused for."""
    folder.mkdir()
    session = open_vault(folder / "vault", own=folder / "own", create=True)
    try:
        with patch("os.fsync", lambda _: None):
            return outcome(Swap(folder, session, random.Random(seed), image(seed), wrong))
    finally:
        session.vault.close()
        shutil.rmtree(folder, ignore_errors=True)


def main(arguments: list[str]) -> int:
    """Run the sound and the wrong ones, and print the figures; 1 where any is stated wrongly."""
    parser = argparse.ArgumentParser(description="Invented swaps, sound and wrong.")
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args(arguments)
    memory = Path("/dev/shm")  # noqa: S108 - a folder in memory, where there is one
    seeds = iter(range(options.seed, options.seed + 3 * options.count))
    right = 0
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as scratch:
        folder = Path(scratch) / "swap"
        passed = [one(next(seeds), None, folder) for _ in range(options.count)].count(None)
        sys.stdout.write(f"sound: {passed} of {options.count} closed\n")
        for kinds in (KINDS, SKIPPED):
            for place, (kind, named) in enumerate(kinds.items()):
                share = len(range(place, options.count, len(kinds)))
                refused = [one(next(seeds), kind, folder) for _ in range(share)]
                right += refused.count(named)
                others = sorted({str(reason) for reason in refused} - {named})
                more = f"; otherwise: {'; '.join(others)}" if others else ""
                words = f"{kind}: {refused.count(named)} of {share} refused for {named}{more}\n"
                sys.stdout.write(words)
                sys.stdout.flush()
    return 0 if passed == options.count and right == 2 * options.count else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
