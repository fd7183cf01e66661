"""Every operation of every writing command fails, in every way; what holds afterwards.

A case is one command, one of its operations and one way to fail. Operations are counted
until the command ends without meeting the fault. After each: an exit code of the contract
and no traceback; what was there before is there byte for byte; the vault rechecks clean, or
there is none; a read is in or not; and the same command, called again on a sound disk,
does what it should.
"""

from __future__ import annotations

import errno
import gc
import random
import shutil
from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from tests.faults import soundness
from tests.faults.commands import BIT_BY_BIT, NEEDS_ANSWER, TABLE, begin, call, repeating
from tests.faults.disk import Disk

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from tests.faults.commands import Outcome, Writes

TRUE_THEN = ("vault-own-not-written",)
# A vault.toml that could not be removed again shows by itself that it was never finished.
UNFINISHED = (*TRUE_THEN, "vault-first-record-missing")


@dataclass(frozen=True)
class Way:
    """One way to fail: an error number, a write that takes less, or an interruption."""

    name: str
    number: int = 0
    for_ever: bool = False
    takes: str = ""
    reads: bool = False

    def prepare(self, disk: Disk) -> None:
        """Set a disk up to fail so."""
        disk.number, disk.for_ever = self.number, self.for_ever
        if self.takes:
            disk.takes = {"half": lambda size: size // 2, "nothing": lambda _size: 0}[self.takes]
        if self.name.startswith("interrupt"):
            disk.act = _interrupt


def _interrupt() -> None:
    raise KeyboardInterrupt


def _ways() -> Iterator[Way]:
    for name in ("ENOSPC", "EIO", "EACCES", "EPERM"):
        for for_ever in (False, True):
            yield Way(f"{name} {_often(for_ever)}", getattr(errno, name), for_ever)
    for takes in ("half", "nothing"):
        for for_ever in (False, True):
            yield Way(f"a write takes {takes} {_often(for_ever)}", 0, for_ever, takes)
    yield Way("interrupted")
    for name in ("EIO", "EACCES"):
        for for_ever in (False, True):
            yield Way(
                f"{name} {_often(for_ever)}, reading too", getattr(errno, name), for_ever, "", True
            )


def _often(for_ever: bool) -> str:
    return "for ever" if for_ever else "once"


WAYS = tuple(_ways())


@dataclass
class Figures:
    """The result of a run: cases by way and by command, and each case that failed."""

    cases: Counter[str] = field(default_factory=Counter)
    commands: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        """Return the number of cases."""
        return sum(self.cases.values())


class Case:
    """One command's start, copied afresh for each case."""

    def __init__(self, base: Path, writes: Writes) -> None:
        self._writes = writes
        self._start = base / writes.start.replace(" ", "-")
        if not self._start.exists():
            with repeating(writes.start):
                begin(self._start, writes.start)
        self._folder = base / "case"
        self._before = soundness.bytes_of(self._start)
        self._counted = soundness.records_of(self._start)

    def steps(self, way: Way) -> list[int]:
        """Return the operations that can fail this way, counted to the command's end."""
        disk = self._fresh(way)
        with repeating(self._writes.name), disk.in_place():
            outcome = call(self._folder, self._writes.words)
        assert outcome.code == self._writes.code, outcome.said
        each = enumerate(disk.operations)
        return [n for n, what in each if not way.takes or what.startswith("write")]

    def _fresh(self, way: Way) -> Disk:
        shutil.rmtree(self._folder, ignore_errors=True)
        shutil.copytree(self._start, self._folder)
        return Disk(self._folder, reads=way.reads)

    def try_one(self, way: Way, step: int) -> tuple[bool, bool, list[str]]:
        """Run with the fault at one step: whether it was met, whether it refused, what is wrong."""
        disk = self._fresh(way)
        disk.fail_at = step
        way.prepare(disk)
        with repeating(self._writes.name):
            with disk.in_place():
                outcome = call(self._folder, self._writes.words)
            if "sqlite" in disk.operations:
                gc.collect()  # what a failing call holds on to goes when its process ends
            met = not disk.ended
            wrong = list(self._after(outcome, way, met=met))
            if met and not wrong:
                wrong = list(self._again(outcome))
        return met, outcome.code not in (0, self._writes.code), wrong

    def _after(self, outcome: Outcome, way: Way, *, met: bool) -> Iterable[str]:
        held = soundness.bytes_of(self._folder)
        wanted = (0, 1, 2, 3, 130) if met else (self._writes.code,)
        if outcome.code not in wanted:
            yield f"exit code {outcome.code}: {outcome.said}"
        if outcome.code == 3 and not way.reads:
            yield f"a vault that is sound was called damaged: {outcome.said}"
        if outcome.code == 2 and not (outcome.error and outcome.document["error"]["next"]):
            yield f"a refusal without a next step: {outcome.said}"
        for name in soundness.lost(self._vital(), held):
            yield f"{name} is gone or changed"
        allowed = TRUE_THEN if self._counted else UNFINISHED
        yield from self._faults(allowed, outcome)
        yield from self._on_record(outcome)
        out = self._writes.out
        if out and outcome.code != self._writes.code and out in held and not way.for_ever:
            yield f"{out} lies there though it was refused"

    def _faults(self, allowed: Iterable[str], outcome: Outcome) -> Iterable[str]:
        """Return what is wrong with the vault, except what such a command truly leaves."""
        stopped = outcome.code and self._writes.command in BIT_BY_BIT
        cut = ("vault-history-cut",) if stopped else ()
        wrong = soundness.faults_of(self._folder, allowed=(*allowed, *cut))
        told = [each["file"] for each in outcome.document.get("missing", ()) if outcome.code == 1]
        return [each for each in wrong if not any(file in each for file in told)]

    def _on_record(self, outcome: Outcome) -> Iterable[str]:
        """Report where the added records differ from the answer."""
        counted = self._added()
        if outcome.code == self._writes.code and self._writes.command not in NEEDS_ANSWER:
            if counted != Counter(self._writes.adds):
                yield f"it answered {outcome.code}, and added {dict(counted)}"
        elif not counted and self._writes.adds and not met_answer(outcome):
            yield f"it did not say that nothing is on record: {outcome.said}"
        elif counted - Counter(self._writes.adds) - left_out(outcome):
            yield f"it added {dict(counted)}"

    def _added(self) -> Counter[str]:
        """Return what was added, except first records of vaults where there was none."""
        added = soundness.records_of(self._folder) - self._counted
        if not self._counted:
            del added["vault"]  # of a counter: it need not be there
        return added

    def _vital(self) -> dict[str, bytes]:
        """Return what may not change: all but the note of what was written last."""
        own = ("own/written/", "own/flushed", "own/cache", "own/command")
        return {n: d for n, d in self._before.items() if not n.startswith(own)}

    def _again(self, first: Outcome) -> Iterable[str]:
        """Call it once more, the disk being well."""
        held, added = soundness.records_of(self._folder), self._added()
        outcome = call(self._folder, self._writes.words)
        done = first.code == self._writes.code or added or "missing" in first.document
        begun = bool(done or self._writes.out)
        if outcome.error in self._writes.already and begun:
            return
        if outcome.code != self._writes.code:
            yield f"the second call: {outcome.said}"
            return
        more = soundness.records_of(self._folder) - held
        if Counter(self._writes.adds) - more and not added:
            yield f"the second call added no more than {dict(more)}"
        yield from self._faults(TRUE_THEN, outcome)


def left_out(outcome: Outcome) -> Counter[str]:
    """Return the record that states which records of a pack were left out, if the answer does."""
    return Counter({"left-out": 1} if outcome.document.get("refused") else {})


def met_answer(outcome: Outcome) -> bool:
    """Return whether a call that put nothing on record was refused, or reports it in a note."""
    return outcome.code in (2, 3, 130) or "note:" in outcome.said


def run(
    base: Path,
    *,
    seed: int = 0,
    share: float = 1.0,
    table: Iterable[Writes] = TABLE,
    ways: Iterable[Way] = WAYS,
    cases_each: int = 0,
) -> Figures:
    """Try every operation of every command in every way, or a share of them by chance.

    With `cases_each`, so many operations of each command, all in one of the ways.
    """
    chance, figures = random.Random(seed), Figures()
    for writes in table:
        case = Case(base, writes)
        for way in [chance.choice([*ways])] if cases_each else ways:
            steps = case.steps(way)
            if cases_each:
                count = cases_each if steps else 0
                chosen = [steps[int(chance.random() * len(steps))] for _ in range(count)]
            else:
                chosen = [step for step in steps if chance.random() < share]
            for step in chosen:
                _count(figures, case, way, step, writes)
    return figures


def _count(figures: Figures, case: Case, way: Way, step: int, writes: Writes) -> None:
    met, refused, wrong = case.try_one(way, step)
    figures.wrong += [f"{writes.name}: {way.name} at {step}: {each}" for each in wrong]
    if not met:
        return  # it ended before: something was at hand that was read the time it was counted
    figures.cases[way.name] += 1
    figures.commands[writes.name] += 1
    figures.refused += refused
