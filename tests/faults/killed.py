"""`kill -9` at a random moment of real processes that write, one or two at once.

    python -m tests.faults.killed FOLDER COUNT SEED      prints its figures as JSON

A process of its own, because it forks: its children need not import the modules again. A child
archives one dump after the other and reports each through a pipe once the command has returned;
that is the acknowledgement. After each kill: the vault is sound, every read that was ever
acknowledged is on record and hashes right, nobody holds the lock, and writing goes on.
"""

from __future__ import annotations

import fcntl
import json
import os
import random
import shutil
import signal
import sys
import time
from collections import Counter
from dataclasses import asdict, dataclass, field
from importlib import import_module
from pathlib import Path
from typing import NoReturn

import pytest

from parambak.dumps.registry import write_dump
from parambak.memory.digests import sha256
from parambak.memory.image import Image
from parambak.vault.files import lock
from tests.faults import soundness
from tests.faults.commands import MEMORY, call

MOST_READS = 120  # in one vault, so that checking it stays quick; an index is made from 64 on
LONGEST = 0.15  # seconds until a kill
WAYS = ("one writer", "two writers, one killed", "two writers, both killed")


@dataclass
class Figures:
    """The result of a run: kills by way, reads that were acknowledged, and what was wrong."""

    kills: dict[str, int] = field(default_factory=dict)
    acknowledged: int = 0
    records: int = 0
    in_the_middle: int = 0
    wrong: list[str] = field(default_factory=list)


class Writer:
    """A child that writes until it is killed."""

    def __init__(self, folder: Path, name: str, begin: int) -> None:
        self._ends, end = os.pipe()
        self._pid = os.fork()
        if not self._pid:
            os.close(self._ends)
            _write_for_ever(folder, name, begin, end)
        os.close(end)

    def kill(self) -> list[str]:
        """Kill it; return what it reported before."""
        os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)
        with os.fdopen(self._ends, encoding="ascii") as said:
            return said.read().split()


def _write_for_ever(folder: Path, name: str, begin: int, end: int) -> NoReturn:
    """Archive one new memory after the other; report its digest once it is on record."""
    dump = folder / f"{name}.hex"
    words = ("--vessel", "grebe", "--unit", name, "--position", "U12", "--position-confirmed")
    for number in range(begin, begin + 100_000):
        memory = number.to_bytes(4, "big") + name.encode() + MEMORY[8:]
        dump.write_bytes(write_dump(Image.of(memory), "intel-hex"))
        outcome = call(folder, ("archive", str(dump), *words, "--no-file-times"))
        word = outcome.document.get("sha256") if outcome.code == 0 else f"!{outcome.error}"
        os.write(end, f"{word}\n".encode())
    os._exit(0)


class Round:
    """One vault, killed at until it is large; then another."""

    def __init__(self, folder: Path, seed: int) -> None:
        self._folder = folder
        self._chance = random.Random(seed)
        self._said: set[str] = set()
        self._number = 0
        self.figures = Figures()

    def run(self, count: int) -> Figures:
        """Kill so many times."""
        kills: Counter[str] = Counter()
        for _ in range(count):
            if not self._folder.exists() or len(self._said) > MOST_READS:
                shutil.rmtree(self._folder, ignore_errors=True)
                self._folder.mkdir(parents=True)
                self.figures.acknowledged += len(self._said)
                self._said.clear()
            way = self._chance.choice(WAYS)
            kills[way] += 1
            self._kill(way)
            self.figures.wrong += [f"kill {sum(kills.values())}, {way}: {w}" for w in self._check()]
        self.figures.acknowledged += len(self._said)
        self.figures.kills = dict(kills)
        return self.figures

    def _kill(self, way: str) -> None:
        names = ["one"] if way == "one writer" else ["one", "two"]
        writers = []
        for name in names:
            self._number += 1000
            writers.append(Writer(self._folder, name, self._number))
        time.sleep(self._chance.random() * LONGEST)
        self._chance.shuffle(writers)
        self._hear(writers[0].kill())
        for other in writers[1:]:
            if "one killed" in way:  # it must be able to go on by itself
                time.sleep(self._chance.random() * LONGEST)
            self._hear(other.kill())

    def _hear(self, said: list[str]) -> None:
        self._said |= {word for word in said if not word.startswith("!")}
        self.figures.wrong += [f"a writer was refused: {w}" for w in said if w.startswith("!")]

    def _check(self) -> list[str]:
        vault = self._folder / "vault"
        if (vault / "lock").exists():
            self.figures.in_the_middle += bool((vault / "lock").stat().st_size)
            with (vault / "lock").open("r+b") as file:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)  # raises if it is held
        wrong = soundness.faults_of(self._folder)
        if not self._said:  # killed before the vault was finished, as a slow machine may be
            wrong = [fault for fault in wrong if "vault-first-record-missing" not in fault]
        held = soundness.facts(soundness.bytes_of(vault)) if vault.exists() else {}
        records = b"".join(data for name, data in held.items() if name.startswith("records/"))
        for digest in self._said:
            data = held.get(f"objects/{digest[:2]}/{digest}")
            if data is None or sha256(data) != digest or digest.encode() not in records:
                wrong.append(f"{digest} was acknowledged, and is lost")
        self.figures.records += len(held)
        return wrong


def _main(words: list[str]) -> int:
    folder, count, seed = words
    for module in ("cli.main", "cli.commands.archive"):  # once for all children
        import_module(f"parambak.{module}")
    with pytest.MonkeyPatch.context() as patch:
        # What a flush is good for, a kill does not show.
        patch.setattr(os, "fsync", lambda _descriptor: None)
        patch.setattr(lock, "WAIT", 20.0)
        patch.setattr(lock, "STEP", 0.002)
        figures = Round(Path(folder), int(seed)).run(int(count))
    json.dump(asdict(figures), sys.stdout)
    return 0


if __name__ == "__main__":
    sys.exit(_main(sys.argv[1:]))
