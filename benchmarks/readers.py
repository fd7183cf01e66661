"""How fast dumps are read: every figure a ratio against a peer in the same run.

    python benchmarks/readers.py            the figures; exit 1 if a target is missed
    python benchmarks/readers.py --quick    small sizes, to see that it runs

First the readers alone: strict, with all checks, against bincopy and intelhex, which check
less. Each time is the best of several, with nothing remembered from the one before. The bound
is `bytes.fromhex` over the same digits: nothing that turns the text into bytes with Python's
own means can be faster.

Then whole processes on a file of 8 MiB of data: `parambak inspect`, which reads, checks and
judges the dump, against `srec_cat` from package srecord, which is compiled, reading and
checking the same file and writing its bytes to nowhere.
"""

from __future__ import annotations

import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bincopy
import intelhex

from parambak.dumps import bulk, intel_hex, s_record
from parambak.dumps.dump import Style
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable

KIB, MIB = 1024, 1024 * 1024
SIZES = (8 * KIB, 64 * KIB, MIB, 8 * MIB)
RECORD_LENGTHS = (16, 32)
SLOW = 2 * MIB
"""Above this, intelhex is not run: it holds an object for each byte."""
BINCOPY_TARGET, INTELHEX_TARGET, PROCESS_TARGET = 4.0, 15.0, 1.0
PAIRS, QUICK_PAIRS = 9, 1


def best(action: Callable[[], object], seconds: float) -> float:
    """Return the shortest of the times that `action` takes, tried for about `seconds`."""
    shortest, begun, tries = float("inf"), time.perf_counter(), 0
    while tries < 3 or time.perf_counter() - begun < seconds:
        started = time.perf_counter()
        action()
        shortest = min(shortest, time.perf_counter() - started)
        tries += 1
        if shortest > seconds:
            break
    return shortest


def afresh(read: Callable[[bytes], object], data: bytes) -> object:
    """Read as a new process does."""
    for each in (bulk._counting, bulk._lanes):  # noqa: SLF001 - what is remembered would flatter
        each.cache_clear()
    return read(data)


def size_shown(size: int) -> str:
    """Return a size in KiB or MiB."""
    return f"{size // MIB} MiB" if size >= MIB else f"{size // KIB} KiB"


def reader_row(module: Any, image: Image, length: int, seconds: float) -> bool:
    """Print how one file is read; return whether every target is met."""
    hexes = module is intel_hex
    data = module.write(image, style=Style(record_length=length, address_width=32))
    text, digits = data.decode(), image.content.hex()
    add = "add_ihex" if hexes else "add_srec"
    actions = [
        lambda: afresh(module.read, data),
        lambda: bytes.fromhex(digits),
        lambda: getattr(bincopy.BinFile(), add)(text),
    ]
    if hexes and image.size <= SLOW:
        actions.append(lambda: intelhex.IntelHex(StringIO(text)))
    ours, bound, *peers = (best(action, seconds) for action in actions)
    ratios = [peer / ours for peer in peers]
    met = all(map(float.__ge__, ratios, (BINCOPY_TARGET, INTELHEX_TARGET)))
    name = "Intel HEX" if hexes else "S-record"
    row = f"{name:<10} {size_shown(image.size):>7} {length:>3}  {ours * 1e3:9.3f} ms"
    row += f"{ratios[0]:>9.1f}" + (f"{ratios[1]:>10.1f}" if len(ratios) > 1 else f"{'-':>10}")
    print(f"{row}{ours / bound:>10.1f}{'' if met else '  missed'}", flush=True)
    return met


def seconds_of(command: list[str]) -> float:
    """Return the time that a command takes from start to end; it must answer 0."""
    started = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    return time.perf_counter() - started


def process_row(module: Any, image: Image, length: int, pairs: int) -> bool:
    """Print how two whole processes compare; return whether the target is met."""
    option = "-intel" if module is intel_hex else "-motorola"
    script = Path(sys.executable).with_name("parambak.exe" if os.name == "nt" else "parambak")
    program = [str(script)] if script.exists() else [sys.executable, "-m", "parambak"]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("a.hex" if module is intel_hex else "a.srec")
        path.write_bytes(module.write(image, style=Style(record_length=length, address_width=32)))
        peer = ["srec_cat", str(path), option, "-output", os.devnull, "-binary"]
        times = [
            (seconds_of([*program, "inspect", str(path)]), seconds_of(peer))
            for _ in range(pairs + 1)
        ][1:]
    ratio = statistics.median(theirs / ours for ours, theirs in times)
    taken = statistics.median(ours for ours, _ in times)
    met = ratio >= PROCESS_TARGET
    name = "Intel HEX" if module is intel_hex else "S-record"
    row = f"{name:<10} {size_shown(image.size):>7} {length:>3}  {taken * 1e3:9.0f} ms{ratio:>9.2f}"
    print(f"{row}{'' if met else '  missed'}", flush=True)
    return met


def main(arguments: list[str]) -> int:
    """Print both tables; return 1 if a target is missed, but never with `--quick`."""
    quick = arguments == ["--quick"]
    met = True
    print("times as long as this reader takes; and how many times as long as the bound it takes")
    print(f"{'':35}{'bincopy':>11}{'intelhex':>10}{'bound':>10}")
    print(f"{'target':35}{BINCOPY_TARGET:>11.1f}{INTELHEX_TARGET:>10.1f}{'':>10}")
    for size in SIZES[:2] if quick else SIZES:
        image = Image.of(random.Random(size).randbytes(size))
        for length in RECORD_LENGTHS:
            for module in (intel_hex, s_record):
                met &= reader_row(module, image, length, 0.05 if quick else 0.6)
    if shutil.which("srec_cat") is None:
        print("srec_cat is not installed: whole processes not measured")
        return 1 if not met and not quick else 0
    size = MIB if quick else SIZES[-1]
    image = Image.of(random.Random(size).randbytes(size))
    print("\nwhole processes: inspect, and how many times as long srec_cat takes", end=" ")
    print(f"(target {PROCESS_TARGET})")
    for length in RECORD_LENGTHS:
        for module in (intel_hex, s_record):
            met &= process_row(module, image, length, QUICK_PAIRS if quick else PAIRS)
    return 1 if not met and not quick else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
