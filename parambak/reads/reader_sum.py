"""What a sum on the reader's screen is a sum of.

Readers differ: some add the bytes of the dump, some those of the whole chip with absent bytes
as FF or 00; some add words; some show the complement. All are tried, and the answer states which
one matched.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.memory.image import Image

WIDTHS = (8, 16, 24, 32)
LARGEST = 16 << 20  # the limit of an image: above it, no chip is filled up


def clean(shown: str) -> str | None:
    """Return the hexadecimal digits of a sum as typed, or None if it is not a sum.

    `0x` or `$` before it, `h` after it and spaces are removed; 2, 4, 6 or 8 digits remain, in
    upper case.
    """
    digits = shown.strip().upper().replace(" ", "").removeprefix("0X").removeprefix("$")
    digits = digits.removesuffix("H")
    right = len(digits) * 4 in WIDTHS and all(digit in "0123456789ABCDEF" for digit in digits)
    return digits if right else None


def matches(
    digits: str, image: Image, memory_size: int | None, only: str | None = None
) -> str | None:
    """Return the way of adding that gives the displayed sum, or None if none does.

    `only` is the only way that counts, if the profile states what the screen shows.
    """
    width = len(digits) * 4
    for over, data in _contents(image, memory_size):
        for how, value in _sums(data, width):
            way = f"{how} over {over}"
            if f"{value:0{len(digits)}X}" == digits and only in (None, way):
                return way
    return None


def _contents(image: Image, memory_size: int | None) -> Iterator[tuple[str, bytes]]:
    yield "the bytes of the dump", image.content
    end = max(memory_size or 0, image.end)
    if end <= LARGEST:
        yield "the chip filled with FF", image.filled(0, end, 0xFF)
        yield "the chip filled with 00", image.filled(0, end, 0x00)


def _sums(data: bytes, width: int) -> Iterator[tuple[str, int]]:
    """Yield all ways to add up `data`, as a name and a value of `width` bits."""
    mask = (1 << width) - 1
    total = sum(data)
    yield f"{width}-bit sum of bytes", total & mask
    if width == 32:
        yield "CRC-32/ISO-HDLC", zlib.crc32(data)
    if len(data) % 2 == 0 and width > 8:
        even, odd = sum(data[0::2]), sum(data[1::2])
        yield f"{width}-bit sum of words, high byte first", (even * 256 + odd) & mask
        yield f"{width}-bit sum of words, low byte first", (odd * 256 + even) & mask
    yield f"one's complement of the {width}-bit sum of bytes", ~total & mask
    yield f"two's complement of the {width}-bit sum of bytes", -total & mask
