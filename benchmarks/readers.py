"""How fast dumps are read: every figure a ratio against a peer in the same run.

Run `python benchmarks/readers.py`; `--quick` leaves out 8 MiB. Each time is the best of
several. The bound is `bytes.fromhex` over the same digits: nothing that turns the text into
bytes with Python's own means can be faster.
"""

from __future__ import annotations

import random
import sys
import time
from io import StringIO
from typing import TYPE_CHECKING

import bincopy
import intelhex

from parambak.dumps import intel_hex, s_record
from parambak.dumps.dump import Style
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable

KIB, MIB = 1024, 1024 * 1024
SIZES = (8 * KIB, 64 * KIB, MIB, 8 * MIB)
RECORD_LENGTHS = (16, 32)
SLOW = 2 * MIB
"""Above this, intelhex is not run: it holds an object for each byte."""


def best(action: Callable[[], object], seconds: float = 0.6) -> float:
    """Return the shortest of the times that `action` takes, tried for about `seconds`."""
    shortest, spent, tries = float("inf"), 0.0, 0
    while spent < seconds or tries < 3:
        begun = time.perf_counter()
        action()
        took = time.perf_counter() - begun
        shortest, spent, tries = min(shortest, took), spent + took, tries + 1
        if took > seconds:
            break
    return shortest


def size_shown(size: int) -> str:
    """Return a size in KiB or MiB."""
    return f"{size // MIB} MiB" if size >= MIB else f"{size // KIB} KiB"


def hex_row(image: Image, length: int) -> None:
    """Print how Intel HEX of one size is read."""
    data = intel_hex.write(image, style=Style(record_length=length, address_width=32))
    text, digits = data.decode(), image.content.hex()
    ours = best(lambda: intel_hex.read(data))
    peer = best(lambda: bincopy.BinFile().add_ihex(text))
    bound = best(lambda: bytes.fromhex(digits))
    row = f"Intel HEX  {size_shown(image.size):>7} {length:>3}  {ours * 1e3:9.3f} ms"
    row += f"  bincopy/ours {peer / ours:6.1f}"
    if image.size <= SLOW:
        dict_peer = best(lambda: intelhex.IntelHex(StringIO(text)))
        row += f"  intelhex/ours {dict_peer / ours:6.1f}"
    else:
        row += "  intelhex not run    "
    print(f"{row}  ours/fromhex {ours / bound:5.1f}")


def srec_row(image: Image, length: int) -> None:
    """Print how S-records of one size are read."""
    data = s_record.write(image, style=Style(record_length=length, address_width=32))
    text, digits = data.decode(), image.content.hex()
    ours = best(lambda: s_record.read(data))
    peer = best(lambda: bincopy.BinFile().add_srec(text))
    bound = best(lambda: bytes.fromhex(digits))
    print(
        f"S-record   {size_shown(image.size):>7} {length:>3}  {ours * 1e3:9.3f} ms"
        f"  bincopy/ours {peer / ours:6.1f}  {'':20}  ours/fromhex {ours / bound:5.1f}"
    )


def main() -> None:
    """Print one row for each format, size and record length."""
    sizes = SIZES[:-1] if "--quick" in sys.argv[1:] else SIZES
    print("format        size len   our reader     how many times longer the peers take")
    for size in sizes:
        image = Image.of(random.Random(size).randbytes(size))
        for length in RECORD_LENGTHS:
            hex_row(image, length)
            srec_row(image, length)


if __name__ == "__main__":
    main()
