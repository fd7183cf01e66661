"""Check values worked out from one start to many ends, each byte touched once."""

from __future__ import annotations

import zlib
from functools import reduce
from operator import mul, xor
from typing import TYPE_CHECKING

from parambak.layouts.check_methods import CRC_NAMES, PLAIN, split

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from parambak.layouts.model import ByteOrder

Value = tuple[str, int, int, "ByteOrder | None"]
"""A method, its value, how many bytes it takes, and the byte order it was worked out in."""

_LEFT_OUT = ("crc-82/darc",)
"""No library works it out quickly."""
CRCS = tuple(name for name in CRC_NAMES if name not in _LEFT_OUT)


def crc_makers(least: int) -> dict[str, tuple[Callable[..., int], int]]:
    """Return each CRC of the catalogue of `least` bits or more: its function, its bytes."""
    import anycrc  # noqa: PLC0415 - slow to import, and only checks need it

    made = {}
    for name in CRCS:
        library_name = name.replace("crc-", "crc", 1).replace("/", "-").upper()
        bits = int(name.removeprefix("crc-").split("/")[0])
        if bits < least:
            continue
        made[name] = anycrc.Model(library_name).calc, (bits + 7) // 8
    return made


def crc_values(
    calc: Callable[..., int], data: bytes, start: int, ends: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Yield (end, CRC of data from `start` up to `end`) for rising ends."""
    position, value = start, None
    for end in ends:
        piece = data[position:end]
        value = calc(piece) if value is None else calc(piece, value)
        position = end
        yield end, value


def plain_values(
    data: bytes, start: int, ends: Sequence[int]
) -> Iterator[tuple[int, tuple[Value, ...]]]:
    """Yield (end, values of every sum and exclusive-or) for rising ends."""
    state = _Plain()
    position = start
    for end in ends:
        state.take(data[position:end])
        position = end
        yield end, tuple(state.values())


class _Plain:
    """Sums and exclusive-ors by a byte's place in a word of four."""

    def __init__(self) -> None:
        self._length = 0
        self._sums = [0, 0, 0, 0]
        self._xors = [0, 0]
        self._second = 0
        self._adler = 1

    def take(self, piece: bytes) -> None:
        """Go on over the next bytes."""
        self._second += len(piece) * sum(self._sums)
        self._second += sum(map(mul, piece, range(len(piece), 0, -1)))
        for index in range(4):
            plane = (self._length + index) % 4
            self._sums[plane] += sum(piece[index::4])
        for index in range(2):
            plane = (self._length + index) % 2
            self._xors[plane] = reduce(xor, piece[index::2], self._xors[plane])
        self._adler = zlib.adler32(piece, self._adler)
        self._length += len(piece)

    def values(self) -> Iterator[Value]:
        """Yield each method's value over the bytes so far."""
        total = sum(self._sums)
        first, second, third, fourth = self._sums
        even, odd = first + third, second + fourth
        one, other = self._xors
        for bits in (8, 16, 24, 32):
            yield from _complemented(f"sum-{bits}", total, None)
        yield from _complemented("word-sum-16", (even << 8) + odd, "big")
        yield from _complemented("word-sum-16", even + (odd << 8), "little")
        wide = (first << 24) + (second << 16) + (third << 8) + fourth
        yield from _complemented("word-sum-32", wide, "big")
        wide = first + (second << 8) + (third << 16) + (fourth << 24)
        yield from _complemented("word-sum-32", wide, "little")
        yield from _complemented("xor-8", one ^ other, None)
        yield from _complemented("xor-16", one << 8 | other, "big")
        yield from _complemented("xor-16", one | other << 8, "little")
        yield "fletcher-16", self._second % 255 << 8 | total % 255, 2, None
        yield "adler-32", self._adler, 4, None


def _complemented(method: str, value: int, order: ByteOrder | None) -> Iterator[Value]:
    bits = PLAIN[split(method)[0]]
    mask, length = (1 << bits) - 1, bits // 8
    yield method, value & mask, length, order
    yield f"{method}-ones-complement", ~value & mask, length, order
    yield f"{method}-twos-complement", -value & mask, length, order
