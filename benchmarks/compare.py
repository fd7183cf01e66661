"""How fast images are compared: every figure a ratio within one run.

    python -m benchmarks.compare            the figures; exit 1 if a target is missed
    python -m benchmarks.compare --quick    small sizes, to see that it runs

Two images of 8 MiB with 1,000 changed bytes: the comparison, with the search for moved
content, against `cmp -l` (GNU diffutils) on the same two files, its output read from a pipe.
Five hundred copies of 32 KiB with 2,000 fields: the history of all fields against decoding
them all. Its peak of memory, when images come one by one, is the image before and what
changed, some 24 changes a copy; the whole process stays under 200 MiB for 2,000 copies of 8 KiB.
"""

from __future__ import annotations

import gc
import random
import shutil
import subprocess
import sys
import tempfile
import tracemalloc
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.layouts import shortest
from parambak.differences.bytes import runs
from parambak.differences.history import history
from parambak.differences.moves import moves_between
from parambak.differences.units import unlike_values
from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.layouts.model import Layout

KIB, MIB = 1024, 1024 * 1024
ROUNDS, QUICK_ROUNDS = 15, 3
CMP_TARGET, HISTORY_TARGET, ALIKE_TARGET = 6.0, 1.3, 1.3
PEAK_TARGET = 0.75  # of the size of all copies: of each no more is held than what changed
FLAT_TARGET = 1.2  # the peak of a whole process at eight times as many units, to that of one
MOST_MEMORY = 200 * MIB  # of a whole process that makes a history of 2,000 copies of 8 KiB
Row = tuple[str, float, float]


def bytes_compared(rounds: int, size: int) -> list[Row]:
    """Return the ratio of comparing two large images to `cmp -l` on the same files."""
    program = shutil.which("cmp")
    if program is None:
        print("cmp is not installed: not measured")
        return []
    chance = random.Random(3)
    data = bytearray(chance.randbytes(size))
    old = Image.of(bytes(data))
    for at in chance.sample(range(size), 1000):
        data[at] ^= chance.randrange(1, 256)
    new = Image.of(bytes(data))

    def ours() -> None:
        moves_between(old, new, runs(old, new))

    with tempfile.TemporaryDirectory() as folder:
        names = []
        for name, image in (("old", old), ("new", new)):
            path = Path(folder) / name
            path.write_bytes(image.content)
            names.append(str(path))
        command = [program, "-l", *names]
        mine, theirs = shortest(
            [ours, lambda: subprocess.run(command, stdout=subprocess.PIPE, check=False)], rounds
        )
    print(f"{size // KIB} KiB, 1,000 changed: {mine * 1e3:.1f} ms, cmp -l {theirs * 1e3:.1f} ms")
    return [("comparing two images, against cmp -l", mine / theirs, CMP_TARGET)]


def invented(fields: int, memory: int) -> Layout:
    """Return a layout of fields under a check, with counters that lie outside it."""
    parts = [f'[layout]\ntitle = "invented"\nmemory = {memory}\nbyte-order = "big"\n']
    for number in range(fields):
        counter = number >= fields - 20
        at = number * 8 + (memory // 2 if counter else 0)
        more = "running = true\n" if counter else "low = 1.0\nhigh = 6000.0\n"
        parts.append(f'[[field]]\nname = "p{number}"\nat = {at}\ntype = "u16"\nscale = 0.1\n{more}')
    last = memory // 2 - 1
    parts.append(
        f'[[check]]\nname = "c"\nmethod = "crc-16/ibm-3740"\nover = [[0, {last}]]\n'
        f"at = {memory - 2}\n"
    )
    return load("\n".join(parts).encode())


def copies(count: int, memory: int) -> Iterator[Image]:
    """Yield images in which counters run and a few set-points change from each to the next."""
    chance = random.Random(4)
    data = bytearray(chance.randbytes(memory))
    for _ in range(count):
        yield Image.of(bytes(data))
        for _ in range(24):
            data[chance.randrange(memory)] = chance.randrange(256)


def histories(rounds: int, count: int, memory: int) -> list[Row]:
    """Return the ratio of a history to decoding, and of its peak to that of a tenth of it."""
    layout = invented(memory // 16, memory)
    images = list(copies(count, memory))
    decode(layout, images[0])  # the plan is worked out once a layout
    mine, theirs = shortest(
        [
            lambda: history(layout, images),
            lambda: [decode(layout, image) and None for image in images],
        ],
        rounds,
    )
    print(f"{count} copies: history {mine * 1e3:.0f} ms, decoding them {theirs * 1e3:.0f} ms")
    most = peak(layout, count, memory)
    print(f"peak, images come one by one: {most / KIB:.0f} KiB; all copies {count * memory // KIB}")
    return [
        ("history of all fields, against decoding", mine / theirs, HISTORY_TARGET),
        ("its peak of memory, against all copies at once", most / (count * memory), PEAK_TARGET),
    ]


def units_compared(rounds: int, count: int, fields: int) -> list[Row]:
    """Return the ratio of holding units against each other to decoding them.

    Half of the fields scatter about a value, the others agree; one value in a thousand is unusual.
    """
    rows = [
        f'[[field]]\nname = "p{number}"\nat = {number * 2}\ntype = "u16"\nscale = 0.1\n'
        for number in range(fields)
    ]
    head = f'[layout]\ntitle = "invented"\nmemory = {fields * 2}\nbyte-order = "big"\n'
    layout = load((head + "".join(rows)).encode())
    chance = random.Random(5)
    usual = [chance.randrange(1000, 5000) for _ in range(fields)]
    images = []
    for _ in range(count):
        data = bytearray()
        for number in range(fields):
            value = usual[number] if number % 2 else round(chance.gauss(usual[number], 50))
            value = chance.randrange(65536) if chance.random() < 1 / 1000 else value
            data += value.to_bytes(2, "big")
        images.append(Image.of(bytes(data)))
    given = [(f"unit {number}", image) for number, image in enumerate(images)]
    decode(layout, images[0])  # the plan is worked out once a layout
    mine, theirs = shortest(
        [
            lambda: unlike_values(layout, given),
            lambda: [decode(layout, image) and None for image in images],
        ],
        rounds,
    )
    print(f"{count} units: comparing {mine * 1e3:.0f} ms, decoding them {theirs * 1e3:.0f} ms")
    return [("units held against each other, against decoding", mine / theirs, ALIKE_TARGET)]


def peak(layout: Layout, count: int, memory: int) -> int:
    """Return the most bytes that a history of images that come one by one allocates."""
    gc.collect()
    tracemalloc.start()
    history(layout, copies(count, memory))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most


def measured_process(sort: str, count: int) -> None:
    """Go once through so many copies or units that come one by one; print the peak in KiB."""
    if sort == "history":
        history(invented(512, 8 * KIB), copies(count, 8 * KIB))
    else:
        rows = "".join(
            f'[[field]]\nname = "p{number}"\nat = {number * 2}\ntype = "u16"\n'
            for number in range(200)
        )
        layout = load(
            f'[layout]\ntitle = "x"\nmemory = {32 * KIB}\nbyte-order = "big"\n{rows}'.encode()
        )
        chance = random.Random(5)
        some = (Image.of(chance.randbytes(400) + bytes(32 * KIB - 400)) for _ in range(count))
        unlike_values(layout, ((f"unit {number}", image) for number, image in enumerate(some)))
    print(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0])


def process_peak(sort: str, count: int) -> int:
    """Return the peak in bytes of a process of its own that goes through so many."""
    command = [sys.executable, "-m", "benchmarks.compare", "--process", sort, str(count)]
    done = subprocess.run(command, capture_output=True, check=True)
    return int(done.stdout) * KIB


def processes(copied: int, small: int, large: int) -> list[Row]:
    """Return the peaks of whole processes: a long history, and many units to few."""
    if not Path("/proc/self/status").exists():
        return []
    long = process_peak("history", copied)
    print(f"history of {copied} copies of 8 KiB, whole process: {long / MIB:.0f} MiB")
    peaks = [process_peak("compare-units", count) for count in (small, large)]
    more = (peaks[1] - peaks[0]) / (large - small)
    print(f"comparing units, whole process at {small} and {large}: {peaks[0] / MIB:.0f}", end="")
    print(f" and {peaks[1] / MIB:.0f} MiB, {more:.0f} bytes more for each, of 32 KiB")
    return [
        (f"peak of the process, {copied} copies, of 200 MiB", long / MOST_MEMORY, 1.0),
        (
            f"peak of the process, comparing units, {large} to {small}",
            peaks[1] / peaks[0],
            FLAT_TARGET,
        ),
    ]


def main(arguments: list[str]) -> int:
    """Print the table; return 1 if a target is missed, but never with `--quick`."""
    if arguments[:1] == ["--process"]:
        measured_process(arguments[1], int(arguments[2]))
        return 0
    quick = arguments == ["--quick"]
    rounds = QUICK_ROUNDS if quick else ROUNDS
    rows = bytes_compared(rounds, MIB if quick else 8 * MIB)
    rows += histories(2 if quick else 3, 50 if quick else 500, 32 * KIB)
    rows += units_compared(2 if quick else 5, 200 if quick else 2000, 200)
    rows += processes(*((60, 50, 200) if quick else (2000, 500, 4000)))
    missed = 0
    print(f"{'times':<52}{'ratio':>7}{'target':>8}")
    for title, value, target in rows:
        missed += value > target
        print(f"{title:<52}{value:>7.2f}{target:>8.1f}{'' if value <= target else '  missed'}")
    return 1 if missed and not quick else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
