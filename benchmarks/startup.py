"""How long the program takes to start and answer, against `python -c "import click"`.

    python benchmarks/startup.py            the figures; exit 1 if a target is missed
    python benchmarks/startup.py --quick    three pairs each, to see that it runs

Whole processes, the program and its peer in turn; each figure is the median of the ratios
of neighbours, so that a machine that slows down for a while slows both. `archive` takes a
changed dump into a vault that holds reads already, with every check and every flush.
"""

from __future__ import annotations

import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

PAIRS = 41
QUICK_PAIRS = 3
SIZE = 8192
RECORD = 16
PEER = [sys.executable, "-c", "import click"]


def program() -> list[str]:
    """Return what calls the program: the script that users call, if it is installed."""
    script = Path(sys.executable).with_name("parambak.exe" if os.name == "nt" else "parambak")
    return [str(script)] if script.exists() else [sys.executable, "-m", "parambak"]


def intel_hex(data: bytes) -> str:
    """Return data from address 0 as an Intel HEX file; written here, separate from the program."""
    lines = []
    for start in range(0, len(data), RECORD):
        part = data[start : start + RECORD]
        record = bytes([len(part), start >> 8, start & 0xFF, 0]) + part
        lines.append(f":{record.hex().upper()}{-sum(record) & 0xFF:02X}\n")
    return "".join(lines) + ":00000001FF\n"


def dump(number: int) -> str:
    """Return the dump of one visit: the same parameters, a counter moved."""
    data = bytearray(random.Random(8).randbytes(SIZE))
    data[0x10:0x12] = number.to_bytes(2, "big")
    return intel_hex(bytes(data))


def seconds(command: list[str], environment: dict[str, str]) -> float:
    """Return the time that a command takes from start to end; it must answer 0."""
    started = time.perf_counter()
    done = subprocess.run(command, env=environment, capture_output=True, check=False, timeout=60)
    taken = time.perf_counter() - started
    if done.returncode:
        sys.stderr.write(done.stderr.decode(errors="replace"))
        raise SystemExit(f"{' '.join(command)} answers {done.returncode}")
    return taken


def ratio(
    make: Callable[[int], list[str]], pairs: int, environment: dict[str, str]
) -> tuple[float, float]:
    """Return the median ratio of a command to the peer, and the command's median in seconds."""
    ours, ratios = [], []
    for number in range(pairs + 1):
        command = make(number)
        mine, peer = seconds(command, environment), seconds(PEER, environment)
        if number:  # the first pair warms the caches
            ours.append(mine)
            ratios.append(mine / peer)
    return statistics.median(ratios), statistics.median(ours)


def main(arguments: list[str]) -> int:
    """Print the table; return 1 if a target is missed, but never with `--quick`."""
    quick = arguments == ["--quick"]
    pairs = QUICK_PAIRS if quick else PAIRS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        environment = os.environ | {"HOME": name, "XDG_DATA_HOME": name, "LOCALAPPDATA": name}
        environment.pop("PARAMBAK_VAULT", None)
        # As installed: both sides run from compiled modules, never from source each time.
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        files = [folder / f"visit{number}.hex" for number in range(pairs + 2)]
        for number, file in enumerate(files):
            file.write_text(dump(number), encoding="ascii", newline="\n")

        def archive(number: int) -> list[str]:
            where = ["--vessel", "grebe", "--unit", "thruster-port", "--position", "U12"]
            vault = ["--vault", str(folder / "vault")]
            day = ["--read-on", str(date(2026, 1, 1) + timedelta(days=(number + 1) % (pairs + 2)))]
            chip = ["--chip", "28C64"]
            return [*program(), *vault, "archive", str(files[number]), *where, *chip, *day]

        seconds(archive(pairs + 1), environment)  # makes the vault
        cases: list[tuple[str, Callable[[int], list[str]], float]] = [
            ("parambak --version", lambda _: [*program(), "--version"], 2.0),
            ("parambak inspect, 8 KiB", lambda n: [*program(), "inspect", str(files[n])], 3.0),
            ("parambak archive, 8 KiB", archive, 3.5),
        ]
        missed = 0
        print(f'times "import click", median of {pairs} pairs')
        print(f"{'command':<26}{'ratio':>7}{'target':>8}{'ms':>8}")
        for title, make, target in cases:
            value, taken = ratio(make, pairs, environment)
            missed += value > target
            mark = "" if value <= target else "  missed"
            print(f"{title:<26}{value:>7.2f}{target:>8.1f}{taken * 1000:>8.1f}{mark}", flush=True)
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
