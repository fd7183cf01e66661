"""Invented memories of many kinds: what the faults of `invented_faults` are done to."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import random

SIZES = (128, 256, 512, 1024, 2048, 4096, 8192, 32768, 65536, 131072)
WORDS = (
    b"thruster winch ramp up time limit pressure low alarm delay pump starboard port steering "
    b"azimuth angle feedback calibration revision serial unit gain output input channel reset"
).split()


def of_random_bytes(rng: random.Random, size: int) -> bytes:
    """Return bytes of no pattern."""
    return rng.randbytes(size)


def nearly_blank(rng: random.Random, size: int) -> bytes:
    """Return a chip that is blank except some scattered bytes."""
    content = bytearray([rng.choice((0xFF, 0xFF, 0x00))]) * size
    for _ in range(rng.randrange(6, 60)):
        content[rng.randrange(size)] = rng.randrange(1, 255)
    return bytes(content)


def mostly_blank(rng: random.Random, size: int) -> bytes:
    """Return a block of parameters at the start or anywhere, the rest blank."""
    length = rng.randrange(size // 32 + 8, size // 3)
    at = rng.choice((0, 0, rng.randrange(size - length)))
    blank = bytearray([rng.choice((0xFF, 0xFF, 0x00))]) * size
    blank[at : at + length] = of_parameters(rng, length)
    return bytes(blank)


def of_parameters(rng: random.Random, size: int) -> bytes:
    """Return what a controller keeps: names, set-points, scaled tables, counters, a sum."""
    parts = [f"UNIT {rng.randrange(1000):04d} REV {rng.choice('ABCD')}".encode().ljust(24)]
    order = rng.choice("<>")
    length = 24
    while length < size:
        kind = rng.randrange(5)
        if kind == 0:
            parts.append(struct.pack(order + "I", rng.randrange(1 << rng.choice((12, 20, 28)))))
        elif kind == 1:
            parts.append(struct.pack(order + "f", rng.uniform(-50, 500)))
        elif kind == 2:
            parts.append(rng.choice(WORDS).upper()[:10].ljust(10))
        elif kind == 3:
            row = (819, 4095, rng.randrange(4096), rng.randrange(200))
            parts.append(struct.pack(order + "4H", *row))
        else:
            values = [rng.choice((0, 100, 250, rng.randrange(4096))) for _ in range(6)]
            parts.append(struct.pack(order + "6H", *values))
        length += len(parts[-1])
    content = b"".join(parts)[: size - 2]
    return content + struct.pack(order + "H", sum(content) & 0xFFFF)


def of_text(rng: random.Random, size: int) -> bytes:
    """Return lines of words."""
    text = bytearray()
    while len(text) < size:
        text += rng.choice(WORDS) + rng.choice((b" ", b" ", b"\r\n", b"=%d " % rng.randrange(999)))
    return bytes(text[:size])


def of_repeated_blocks(rng: random.Random, size: int) -> bytes:
    """Return one block over and over, a few values of each its own."""
    block = rng.randbytes(rng.choice((16, 32, 64)))
    content = bytearray((block * (size // len(block) + 1))[:size])
    own = rng.choice((1, 2, 4))
    for at in range(0, size - len(block), len(block)):
        content[at + 3 : at + 3 + own] = rng.randbytes(own)
    return bytes(content)


def of_rows(rng: random.Random, size: int) -> bytes:
    """Return a table of 16-bit values that climb slowly, as a curve does."""
    value, values = rng.randrange(4000), []
    for _ in range(size // 2):
        value = (value + rng.randrange(40)) & 0x0FFF
        values.append(value)
    return struct.pack(f"{rng.choice('<>')}{size // 2}H", *values)


KINDS = (
    of_random_bytes,
    nearly_blank,
    mostly_blank,
    of_parameters,
    of_text,
    of_repeated_blocks,
    of_rows,
)


def memory(rng: random.Random, sizes: tuple[int, ...] = SIZES) -> bytes:
    """Return the content of an invented memory, of any kind and of one of `sizes`."""
    return rng.choice(KINDS)(rng, rng.choice(sizes))
