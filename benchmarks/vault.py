"""A vault of 1,000, 10,000 and 100,000 copies over 200 vessels: what the commands take.

    python benchmarks/vault.py            the figures; exit 1 if a target is missed
    python benchmarks/vault.py --quick    small vaults and few pairs, to see that it runs
    python benchmarks/vault.py --in DIR   the vaults are made in DIR instead of the system's
                                          temporary folder; `--only NAME` measures one thing

Two sides of a comparison run in turn, and a ratio is the median of those of neighbours, so
that a machine that slows down for a while slows both. Commands are timed as whole processes
and, with every check and every flush, within one. The vaults are written straight as valid
files (vaults/invent.py), which costs no flushes.
"""

from __future__ import annotations

import argparse
import gc
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from hashlib import sha256
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.startup import program
from benchmarks.vaults.invent import SIZE, UNIT, invent, vessel_name
from parambak.cli.main import answered
from parambak.cli.settings import Settings
from parambak.keeping.state.losses import body_fault
from parambak.vault.check.recheck import Terms, recheck
from parambak.vault.vault import Vault

if TYPE_CHECKING:
    from collections.abc import Callable

VESSEL = vessel_name(7)
TIMES_OF_SMALL = 1.5
REBUILT_PER_SECOND = 30_000
OF_BARE_LOOP = 0.7
OF_GIT = 0.7
DUMP = 8192
# The kernel's own count: the count of the parent includes what a child inherits.
PEAK = """
import sys
from pathlib import Path
from parambak.cli.main import answered
from parambak.cli.settings import Settings
answered(sys.argv[1:], Settings(json=True))
print(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0], file=sys.stderr)
"""


@dataclass(frozen=True)
class Sizes:
    """How much is measured."""

    small: int
    middle: int
    large: int
    pairs: int


FULL = Sizes(1_000, 10_000, 100_000, 15)
QUICK = Sizes(200, 400, 800, 3)


class Bench:
    """The vaults, and the results; `missed` counts targets."""

    def __init__(self, folder: Path, sizes: Sizes) -> None:
        self.folder = folder
        self.sizes = sizes
        self.missed = 0
        self._dumps = 0
        own = folder / "own"
        self.environment = os.environ | {"PARAMBAK_OWN": str(own)}
        self.environment.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PARAMBAK_OWN"] = str(own)

    def vault(self, copies: int) -> Path:
        """Return the folder of the vault of that many copies."""
        return self.folder / f"vault-{copies}"

    def open(self, copies: int) -> Vault:
        """Open the vault of that many copies, in this process."""
        own = self.folder / "own"
        return Vault.open(self.vault(copies), own=own, clock=lambda: datetime.now().astimezone())

    def dump(self, size: int) -> str:
        """Write a dump that no vault holds; return its name."""
        self._dumps += 1
        file = self.folder / f"R{self._dumps}.BIN"
        file.write_bytes(random.Random(-self._dumps).randbytes(size))
        return str(file)

    def row(self, title: str, value: float, target: float | None, *, least: bool = False) -> None:
        """Print one figure, and whether it keeps its target."""
        bad = target is not None and (value < target if least else value > target)
        self.missed += bad
        shown = "" if target is None else f"{target:>10,.2f}"
        print(f"{title:<52}{value:>12,.2f}{shown}{'  missed' if bad else ''}", flush=True)


def commands(bench: Bench, copies: int) -> dict[str, Callable[[], list[str]]]:
    """Return the three commands, each made again for a call."""
    vault = ["--vault", str(bench.vault(copies)), "--json"]
    where = ["--vessel", VESSEL, "--unit", UNIT, "--position", "U12", "--position-confirmed"]
    return {
        "catalogue of a unit": lambda: [*vault, "catalogue", f"{VESSEL}/{UNIT}"],
        "swap check": lambda: [*vault, "swap", "check", f"{VESSEL}/{UNIT}/U12"],
        "archive": lambda: [*vault, "archive", bench.dump(SIZE), *where, "--by", "A. Person"],
    }


def timed(act: Callable[[], object]) -> float:
    """Return the seconds that something takes."""
    started = time.perf_counter()
    act()
    return time.perf_counter() - started


def whole(bench: Bench, command: list[str]) -> float:
    """Run a command as a whole process; return its seconds."""
    started = time.perf_counter()
    done = subprocess.run(command, env=bench.environment, capture_output=True, check=False)
    taken = time.perf_counter() - started
    if done.returncode > 1:
        raise SystemExit(f"{' '.join(command)} answers {done.returncode}: {done.stderr.decode()}")
    return taken


def peak(bench: Bench, words: list[str]) -> float:
    """Return the most memory that a command ever holds, in MiB; 0 if Linux does not show it."""
    if not Path("/proc/self/status").exists():
        return 0.0
    command = [sys.executable, "-c", PEAK, *words]
    done = subprocess.run(command, env=bench.environment, capture_output=True, check=True)
    return int(done.stderr.split()[-1]) / 1024


def within(words: list[str]) -> float:
    """Run a command within this process; return its seconds."""
    said = StringIO()
    with redirect_stdout(StringIO()), redirect_stderr(said):
        started = time.perf_counter()
        code = answered(words, Settings(json=True))
        taken = time.perf_counter() - started
    if code > 1:
        raise SystemExit(f"{' '.join(words)} answers {code}: {said.getvalue()}")
    return taken


def scale(bench: Bench) -> None:
    """Time the three commands in the small and the large vault, in turn."""
    sizes = bench.sizes
    print(f"\ntimes what it takes at {sizes.small:,} copies, median of {sizes.pairs} pairs")
    for name in commands(bench, sizes.small):
        for copies in (sizes.middle, sizes.large):
            here, there = (commands(bench, each)[name] for each in (sizes.small, copies))
            target = TIMES_OF_SMALL if copies == sizes.large else None
            taken = [
                (whole(bench, [*program(), *here()]), whole(bench, [*program(), *there()]))
                for _ in range(sizes.pairs + 1)
            ]
            within_one = [(within(here()), within(there())) for _ in range(sizes.pairs + 1)]
            pairs, inner = taken[1:], within_one[1:]  # the first of each warms the caches
            bench.row(f"{name}, {copies:,}, whole process", ratio(pairs), target)
            bench.row(f"{name}, {copies:,}, in process", ratio(inner), None)
            print(
                f"    whole {middle(pairs, 0):.0f} and {middle(pairs, 1):.0f} ms; "
                f"in process {middle(inner, 0):.1f} and {middle(inner, 1):.1f} ms; "
                f"memory {peak(bench, here()):.0f} and {peak(bench, there()):.0f} MiB",
                flush=True,
            )


def ratio(pairs: list[tuple[float, float]]) -> float:
    """Return the median of the ratios of the second of each pair to its first."""
    return statistics.median(second / first for first, second in pairs)


def middle(pairs: list[tuple[float, float]], side: int) -> float:
    """Return the median of one side of the pairs, in milliseconds."""
    return statistics.median(pair[side] for pair in pairs) * 1000


def rebuild(bench: Bench) -> None:
    """Time how an index is built from the records."""
    copies, records = bench.sizes.large, bench.open(bench.sizes.large)
    count = sum(len(records.chain(vessel)) for vessel in records.vessels())
    records.close()
    rates, peers = [], []
    for _ in range(3):
        peers.append(count / timed(partial(bare_loop, bench.vault(copies), ("records",))))
        (bench.vault(copies) / "index.sqlite").unlink(missing_ok=True)
        rates.append(count / timed(lambda: bench.open(copies).close()))
    print("\nrecords a second")
    bench.row("a bare loop of reading and hashing them", max(peers), None)
    best = max(rates)  # what else the machine does can only slow it down
    bench.row(f"index of {count:,} records built anew", best, REBUILT_PER_SECOND, least=True)


def bare_loop(root: Path, sorts: tuple[str, ...] = ("objects", "records")) -> None:
    """Read and hash every file of objects and records, and do nothing else."""
    for sort in sorts:
        for folder in os.scandir(root / sort):
            for file in os.scandir(folder):
                with open(file, "rb", buffering=0) as stream:  # noqa: PTH123 - as quick as it goes
                    sha256(stream.read()).hexdigest()


def hashing(bench: Bench) -> None:
    """Time recheck against a bare loop over the same files."""
    copies, ratios = bench.sizes.middle, []
    terms = Terms(fault=body_fault)  # as the command has it
    for number in range(min(bench.sizes.pairs, 7) + 1):
        vault = bench.open(copies)
        ours = timed(partial(recheck, vault, lambda _done, _of: None, terms=terms))
        vault.close()
        peer = timed(lambda: bare_loop(bench.vault(copies)))
        if number:
            ratios.append(peer / ours)
    print("\nof the speed of a bare loop of reading and hashing")
    bench.row(f"recheck, {copies:,} copies", statistics.median(ratios), OF_BARE_LOOP, least=True)


def git(folder: Path, *words: str) -> None:
    """Run git, which flushes everything that it writes."""
    settings = ["core.fsync=all", "core.fsyncMethod=fsync", "user.name=A", "user.email=a@b.invalid"]
    given = [part for setting in settings for part in ("-c", setting)]
    subprocess.run(["git", "-C", str(folder), *given, *words], check=True, capture_output=True)


def against_git(bench: Bench) -> None:
    """Time how the 8 KiB dump of each visit is archived against `git add` and `git commit`."""
    folder = bench.folder / "git"
    folder.mkdir()
    git(folder, "init", "-q")
    vault = ["--vault", str(bench.folder / "vault-git"), "--json", "archive"]
    where = ["--vessel", "grebe", "--unit", "thruster-port", "--position", "U12"]
    words = [*where, "--chip", "28C64", "--by", "A. Person"]

    def commit(dump: str) -> None:
        (folder / "dump.bin").write_bytes(Path(dump).read_bytes())
        git(folder, "add", "dump.bin")
        git(folder, "commit", "-q", "-m", "read")

    ratios, ours = [], []
    content = bytearray(random.Random(8).randbytes(DUMP))
    for number in range(bench.sizes.pairs + 2):
        content[0x10:0x12] = number.to_bytes(2, "big")  # hours run since the last visit
        dump = str(bench.folder / f"V{number}.BIN")
        Path(dump).write_bytes(content)
        day = (date(2000, 1, 1) + timedelta(days=90 * number)).isoformat()
        mine = within([*vault, dump, *words, "--read-on", day])
        peer = timed(partial(commit, dump))
        if number > 1:  # the first makes the vault
            ratios.append(mine / peer)
            ours.append(mine)
    took = statistics.median(ours) * 1000
    print(f"\ntimes `git add` and `git commit`; archive takes {took:.1f} ms")
    bench.row("archive of 8 KiB, in process", statistics.median(ratios), OF_GIT)


MEASURES = (scale, hashing, rebuild, against_git)


def main(arguments: list[str]) -> int:
    """Print every figure; return 1 if a target is missed, but never with `--quick`."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--in", dest="folder")
    parser.add_argument("--only", choices=[each.__name__ for each in MEASURES])
    given = parser.parse_args(arguments)
    gc.set_threshold(100_000, 20, 100)  # as the program does for itself
    with tempfile.TemporaryDirectory(dir=given.folder) as name:
        bench = Bench(Path(name), QUICK if given.quick else FULL)
        for copies in (bench.sizes.small, bench.sizes.middle, bench.sizes.large):
            took = timed(partial(invent, bench.vault(copies), copies))
            bench.open(copies).close()  # builds the index
            print(f"{copies:,} copies made in {took:.1f} s", flush=True)
        for measure in MEASURES:
            if given.only in (None, measure.__name__):
                measure(bench)
    return 1 if bench.missed and not given.quick else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
