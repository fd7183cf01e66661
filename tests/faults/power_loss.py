"""The power fails at each point of what the commands do; what holds on what the disk then has.

For each state that the model (power.py) allows: what was acknowledged is there byte for byte; the
vault opens; recheck finds no damage, so no read is half there; what the vault reports about itself
is true. On some of them the next write is made, and must go through.
"""

from __future__ import annotations

import os
import random
import shutil
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from typing import TYPE_CHECKING

import pytest

from parambak.vault.files import disk
from tests.faults import soundness
from tests.faults.commands import BIT_BY_BIT, TABLE, begin, call, named, repeating
from tests.faults.disk import Disk, path_of
from tests.faults.recorder import Killed, Recorder

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from tests.faults.commands import Writes
    from tests.faults.power import Tree

NEXT = named("archive, into nothing")
# A note that was lost or torn is stated, and costs nothing else.
TRUE_THEN = ("vault-own-damaged",)
UNFINISHED = (*TRUE_THEN, "vault-first-record-missing")


@dataclass(frozen=True)
class Sequence:
    """Commands one after the other; the first may be killed, or meet a fault, at one operation.

    `rots` damages one object before all of it, which the first command then repairs.
    `forgets` is on FAT, whose files are to be flushed once more when they were renamed.
    """

    name: str
    commands: tuple[Writes, ...]
    kill_at: int = -1
    fail_at: int = -1
    fail_for_ever: bool = False
    rots: bool = False
    forgets: bool = False


@dataclass
class Figures:
    """The result of a run: distinct states by sequence, points looked at, and what was wrong."""

    states: Counter[str] = field(default_factory=Counter)
    points: int = 0
    written: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def total(self) -> int:
        """Return the number of distinct states."""
        return sum(self.states.values())


class Ship:
    """The folder that a state is put into, and what is checked there."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.true: tuple[str, ...] = ()  # codes of what the vault may report by itself
        self._there: Tree = {"": None}  # begins with the present content

    def check(self, tree: Tree, acknowledged: dict[str, bytes], rotten: str | None) -> list[str]:
        """Put a state on the disk, and return what is wrong with it."""
        for name, data in acknowledged.items():
            if tree.get(f"vault/{name}") != data:
                return [f"{name} was acknowledged, and is lost"]
        self._put(tree)
        allowed = (*self.true, *(TRUE_THEN if acknowledged else UNFINISHED))
        wrong = soundness.faults_of(self._folder, allowed=allowed)
        return self._but_empty(wrong, rotten)

    def _but_empty(self, wrong: list[str], rotten: str | None = None) -> list[str]:
        """Leave out the findings about a file that on FAT, for a moment, may be empty.

        It was not acknowledged yet: what was acknowledged is compared byte for byte above.
        """
        names = [n.rpartition("/")[2] for n, data in self._there.items() if data == b""]
        names += [rotten.rpartition("/")[2]] if rotten else []
        return [each for each in wrong if not any(name in each for name in names)]

    def write_on(self) -> list[str]:
        """Make the next write on the state that was put last."""
        outcome = call(self._folder, NEXT.words)
        if outcome.code == 0:
            allowed = (*self.true, *TRUE_THEN)
            wrong = self._but_empty(soundness.faults_of(self._folder, allowed=allowed))
        else:
            wrong = [f"the next write: {outcome.said}"]
        self._there = {"": None}
        return wrong

    def _put(self, tree: Tree) -> None:
        if "" in self._there:
            shutil.rmtree(self._folder, ignore_errors=True)
            self._there = {}
        for name in sorted(self._there.keys() - tree.keys(), reverse=True):
            path = self._folder / name
            path.rmdir() if self._there[name] is None else path.unlink()
        self._folder.mkdir(parents=True, exist_ok=True)
        for name in sorted(tree):
            data = tree[name]
            if name in self._there and self._there[name] == data:
                continue
            if data is None:
                (self._folder / name).mkdir()
            else:
                (self._folder / name).write_bytes(data)
        self._there = dict(tree)


class Storm:
    """One sequence, and the power failing after each of its operations."""

    def __init__(self, base: Path, sequence: Sequence, figures: Figures, most: int) -> None:
        self._sequence = sequence
        self._figures = figures
        self._most = most
        self._chance = random.Random(sequence.name)
        self._folder = base / "sea"
        self._ship = Ship(base / "state")
        if sequence.commands[-1].command in BIT_BY_BIT:
            self._ship.true = ("vault-history-cut",)
        self._seen: set[bytes] = set()
        self._acknowledged: dict[str, bytes] = {}
        self._rotten: str | None = None
        self._quiet = False

    def run(self) -> None:
        """Run the sequence; every state goes into the figures."""
        shutil.rmtree(self._folder, ignore_errors=True)
        with repeating(self._sequence.name):
            begin(self._folder, self._sequence.commands[0].start)
            self._acknowledged = self._facts()
            if self._sequence.rots:
                self._rot()
            recorder = Recorder(self._folder, self._power_fails, forgets=self._sequence.forgets)
            with recorder.in_place(), pytest.MonkeyPatch.context() as patch:
                forgets = self._sequence.forgets
                patch.setattr(disk, "forgets_when_renamed", lambda _folder: forgets)
                self._commands(recorder)
            self._wrong(f"the recorder missed {name}" for name in recorder.agrees())

    def _commands(self, recorder: Recorder) -> None:
        first, *rest = self._sequence.commands
        self._quiet = bool(rest)  # the first is seen by itself elsewhere
        recorder.kill_at = self._sequence.kill_at
        try:
            with self._disk().in_place():
                self._answer(first)
        except Killed:
            self._close_all()
        recorder.kill_at = -1
        self._quiet = False
        for writes in rest:
            self._answer(writes)
        self._power_fails(recorder)

    def _close_all(self) -> None:
        """Close what a killed process leaves open, as the system does."""
        for descriptor in range(3, 64):
            with suppress(OSError):
                if path_of(descriptor).startswith(f"{self._folder}/"):
                    os.close(descriptor)

    def _disk(self) -> Disk:
        disk = Disk(self._folder)
        disk.flushes_through = True
        disk.number, disk.fail_at = 5, self._sequence.fail_at
        disk.for_ever = self._sequence.fail_for_ever
        return disk

    def _answer(self, writes: Writes) -> None:
        outcome = call(self._folder, writes.words)
        if outcome.code == writes.code:
            self._acknowledged = self._facts()
            self._rotten = None
        elif self._sequence.fail_at < 0:
            self._wrong([f"{writes.name}: {outcome.said}"])

    def _facts(self) -> dict[str, bytes]:
        return soundness.facts(soundness.bytes_of(self._folder / "vault"))

    def _rot(self) -> None:
        """Damage the image, which the first command brings once more."""
        name, data = max(
            ((n, d) for n, d in self._acknowledged.items() if n.startswith("objects/")),
            key=lambda each: len(each[1]),
        )
        path = self._folder / "vault" / name
        path.chmod(0o644)
        path.write_bytes(b"?" + data[1:])
        del self._acknowledged[name]
        self._rotten = f"vault/{name}"

    def _power_fails(self, recorder: Recorder) -> None:
        if self._quiet:
            return
        self._figures.points += 1
        for tree in recorder.model.states(self._chance, self._most):
            mark = _mark(tree, len(self._acknowledged))
            if mark in self._seen:
                continue
            self._seen.add(mark)
            self._figures.states[self._sequence.name.partition(",")[0]] += 1
            wrong = self._ship.check(tree, self._acknowledged, self._rotten)
            if not wrong and not self._rotten and self._chance.random() < 0.04:
                self._figures.written += 1
                wrong = self._ship.write_on()
            self._wrong(f"after operation {recorder.count}: {each}" for each in wrong)

    def _wrong(self, told: Iterable[str]) -> None:
        self._figures.wrong += [f"{self._sequence.name}: {each}" for each in told]


def _mark(tree: Tree, acknowledged: int) -> bytes:
    """Return what distinguishes one state from another; the content of a lock does not."""
    mark = sha256(str(acknowledged).encode())
    for name in sorted(tree):
        if not name.endswith("/lock"):
            mark.update(f"{name}\0".encode() + sha256(tree[name] or b"folder").digest())
    return mark.digest()


VOYAGE = (
    "visit open",
    "archive, within a visit",
    "card add",
    "correct, a vessel",
    "visit close",
)


def sequences(share: float, seed: int) -> list[Sequence]:
    """Return the sequences: each command, several, and one after a kill or a fault."""
    chance = random.Random(seed)
    found = [
        Sequence(f"alone, {each.name}", (each,)) for each in TABLE if each.start != "many records"
    ]
    found += [
        Sequence(f"on FAT, {name}", (named(name),), forgets=True)
        for name in ("archive, into nothing", "archive, two with a layout", "swap load-file")
    ]
    found.append(Sequence("one voyage", tuple(named(name) for name in VOYAGE)))
    found.append(Sequence("repairing", (named("archive, a second read"),), rots=True))
    first = named("archive, into nothing")
    second, other = named("archive, two with a layout"), named("archive, a second read")
    for pair in ((first, second), (other, second), (first, first)):
        name = f"{pair[0].name} then {pair[1].name}"
        for at in range(90):
            found.append(Sequence(f"killed, {name}, at {at}", pair, kill_at=at))
            for for_ever in (False, True):
                often = "for ever" if for_ever else "once"
                found.append(Sequence(f"failed, {name}, {often} at {at}", pair, -1, at, for_ever))
    return [each for each in found if chance.random() < share]


def run(base: Path, *, seed: int = 0, share: float = 1.0, most: int = 40) -> Figures:
    """Run the sequences, or a share of them; look at `most` states at each point."""
    figures = Figures()
    for sequence in sequences(share, seed):
        Storm(base, sequence, figures, most).run()
    return figures
