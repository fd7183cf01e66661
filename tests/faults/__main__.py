"""Every fault, and its figures in one table.

    python -m tests.faults                          all of it, about twenty minutes
    python -m tests.faults --suite power --seed 3
    python -m tests.faults --share 0.1              a tenth of it, by chance
    python -m tests.faults --commands pack unpack   operations of these commands alone

Works in /dev/shm if that is there, else in a temporary folder. The exit code is 1 if
anything was wrong; each such case is printed with what it takes to try it again.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from tests.faults import fat, operations, packs, power_loss, real, rot
from tests.faults.commands import TABLE

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parents[2]
KILLS = 1200
CUTS = 40
SHOWN = 30  # cases that were wrong, at most


class Run(NamedTuple):
    """What one suite gave: rows of the table, and the cases that were wrong."""

    rows: list[tuple[str, str]]
    wrong: list[str]


def _operations(base: Path, given: argparse.Namespace) -> Run:
    chosen = [each for each in TABLE if not given.commands or each.command in given.commands]
    found = operations.run(base, seed=given.seed, share=given.share, table=chosen)
    rows = [
        ("operations that failed", f"{found.total:,} cases"),
        ("  lines of commands", f"{len(found.commands)} (of {len(TABLE)})"),
        ("  refused, the rest answered", f"{found.refused:,}"),
        *((f"  {way}", f"{count:,}") for way, count in sorted(found.cases.items())),
    ]
    return Run(rows, found.wrong)


def _power(base: Path, given: argparse.Namespace) -> Run:
    found = power_loss.run(base, seed=given.seed, share=given.share, most=given.states)
    rows = [
        ("power loss, on a model of a disk", f"{found.total:,} distinct states"),
        ("  at so many points", f"{found.points:,}"),
        ("  of them written on", f"{found.written:,}"),
        *((f"  {name}", f"{count:,}") for name, count in sorted(found.states.items())),
    ]
    return Run(rows, found.wrong)


def _kill(base: Path, given: argparse.Namespace) -> Run:
    count = max(1, round(KILLS * given.share))
    found = killed(base / "killed", count, given.seed)
    rows = [
        ("kill -9 of real processes", f"{sum(found['kills'].values()):,} kills"),
        *((f"  {way}", f"{kills:,}") for way, kills in sorted(found["kills"].items())),
        ("  while the lock was held", f"{found['in_the_middle']:,}"),
        ("  reads acknowledged before", f"{found['acknowledged']:,}"),
    ]
    return Run(rows, found["wrong"])


def killed(folder: Path, count: int, seed: int) -> dict[str, Any]:
    """Run the kills in a process of their own, because it forks; return its figures."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.killed", str(folder), str(count), str(seed)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        check=True,
    )
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def _rot(base: Path, given: argparse.Namespace) -> Run:
    found = rot.run(base / "rot", seed=given.seed, share=given.share)
    rows = [
        ("bit rot", f"{found.total:,} bytes, one bit in each"),
        *((f"  of {sort}", f"{count:,}") for sort, count in sorted(found.damaged.items())),
        *((f"  repaired {how}", f"{count:,}") for how, count in sorted(found.repaired.items())),
    ]
    return Run(rows, found.wrong)


def _packs(base: Path, given: argparse.Namespace) -> Run:
    found = packs.run(base / "packs", share=given.share)
    rows = [
        ("a pack's rotten bytes", f"{found.flipped:,} bytes, one bit in each"),
        ("  the pack refused as a whole", f"{found.refused:,}"),
        ("  members lost in each, at most", f"{found.most_lost}"),
        ("a pack cut short", f"{found.cut:,} lengths"),
    ]
    return Run(rows, found.wrong)


def _fat(base: Path, given: argparse.Namespace) -> Run:
    stand_in = fat.Fat(base / "fat")
    (base / "fat").mkdir()
    with stand_in.in_place():
        found = fat.run_on(base / "fat")
    rows = [("FAT, a stand-in", f"{found.commands} commands")]
    wrong = list(found.wrong)
    rows.append(("  it refused", ", ".join(sorted(stand_in.refused))))
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        try:
            how, commands, more = real.commands_on(Path(folder), "fat")
            wrong += more
            rows.append((f"FAT of Linux, {how}", f"{commands} commands"))
            for kind in real.MAKE:
                cuts = max(1, round(CUTS * given.share))
                cut = real.cut_off(Path(folder), kind, cuts, given.seed)
                wrong += cut.wrong
                rows += [
                    (f"its power cut, on {kind}", f"{cut.cuts} cuts"),
                    ("  reads acknowledged before", f"{cut.acknowledged:,}"),
                ]
        except OSError as error:
            rows.append(("a real file system", f"not here: {error}"))
    return Run(rows, wrong)


SUITES: dict[str, Callable[[Path, argparse.Namespace], Run]] = {
    "operations": _operations,
    "power": _power,
    "kill": _kill,
    "rot": _rot,
    "packs": _packs,
    "fat": _fat,
}


def main(words: list[str]) -> int:
    """Run the suites asked for, and print their figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--suite", choices=[*SUITES], action="append", help="all where left out")
    parser.add_argument("--seed", type=int, default=0, help="of everything that is by chance")
    parser.add_argument("--share", type=float, default=1.0, help="of the cases, from 0 to 1")
    parser.add_argument("--states", type=int, default=12, help="of a disk, at each point")
    parser.add_argument("--commands", nargs="*", default=[], help="in the suite of operations")
    given = parser.parse_args(words)
    shared = Path("/dev/shm")  # noqa: S108 - memory, and a folder of its own is made in it
    wrong: list[str] = []
    for name in given.suite or SUITES:
        started = time.monotonic()
        with tempfile.TemporaryDirectory(
            prefix="faults-", dir=shared if shared.is_dir() else None
        ) as folder:
            run = SUITES[name](Path(folder), given)
        seconds = time.monotonic() - started
        for row, figure in [*run.rows, ("  wrong", f"{len(run.wrong)}"), ("  s", f"{seconds:.0f}")]:
            _print(f"{row:<44}{figure}")
        wrong += [f"{name}: {each}" for each in run.wrong]
    for each in wrong[:SHOWN]:
        _print(each)
    return 1 if wrong else 0


def _print(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
