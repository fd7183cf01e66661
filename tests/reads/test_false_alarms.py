"""False alarms, counted: none on 4,000 images, random and real-looking."""

from __future__ import annotations

import random
import struct
from typing import TYPE_CHECKING

import pytest

from parambak.memory.image import Image
from parambak.reads.plausibility import judge

if TYPE_CHECKING:
    from collections.abc import Callable

SIZES = (16, 64, 128, 256, 512, 1024, 2048, 3000)


def of_random_bytes(rng: random.Random) -> Image:
    """Return bytes of no pattern, of any usual size."""
    return Image.of(rng.randbytes(rng.choice(SIZES)))


def of_parameters(rng: random.Random) -> Image:
    """Return what a controller keeps: set-points, a name, counters, tables of rows, blank rest."""
    size = rng.choice((128, 256, 512, 1024, 2048))
    fill = rng.choice((0x00, 0xFF))
    parts = [
        struct.pack(">H", rng.choice((0x1234, 0xA55A, rng.randrange(65536)))),
        f"UNIT {rng.randrange(1000):04d} REV {rng.choice('ABCD')}".encode().ljust(24),
        struct.pack(">I", rng.randrange(1 << rng.choice((12, 20, 28)))),
    ]
    parts += [
        struct.pack(
            rng.choice((">H", "<H")), rng.choice((100, 250, 819, 4095, rng.randrange(4096)))
        )
        for _ in range(rng.randrange(4, 24))
    ]
    row = struct.pack(">HHHH", 819, 4095, rng.randrange(4096), 0)
    parts += [row[:4] + struct.pack(">HH", rng.randrange(4096), index) for index in range(8)]
    parts.append(struct.pack(rng.choice((">f", "<f")), rng.uniform(-50, 500)))
    data = b"".join(parts)[: size - 2]
    data += struct.pack(">H", sum(data) & 0xFFFF)
    where = rng.randrange(max(1, size - len(data)))
    return Image.of((bytes([fill]) * where + data).ljust(size, bytes([fill])))


def of_few_bytes(rng: random.Random) -> Image:
    """Return a chip that is blank except a few bytes."""
    size = rng.choice(SIZES)
    content = bytearray(rng.choice((b"\x00", b"\xff")) * size)
    for _ in range(rng.randrange(1, 12)):
        content[rng.randrange(size)] = rng.randrange(1, 255)
    return Image.of(bytes(content))


def of_tables(rng: random.Random) -> Image:
    """Return rows that are the same except a few of their values."""
    rows = rng.choice((16, 32, 64))
    row = rng.randbytes(rng.choice((8, 16)))
    content = bytearray(row * rows)
    for index in range(rows):
        content[index * len(row) + 1] = rng.randrange(256)
        content[index * len(row) + 4] = rng.randrange(256)
    return Image.of(bytes(content))


@pytest.mark.parametrize("make", [of_random_bytes, of_parameters, of_few_bytes, of_tables])
def test_no_sound_image_is_suspected(make: Callable[[random.Random], Image]) -> None:
    """Every one of a thousand is plausible for its size."""
    rng = random.Random(11)
    images = [make(rng) for _ in range(1_000)]
    alarms = [image.content.hex() for image in images if judge(image, memory_size=image.size)]
    assert alarms == []
