"""The bytes that all copies have, laid end to end to be searched, and their addresses."""

from __future__ import annotations

import re
from bisect import bisect_right
from itertools import accumulate, islice
from typing import TYPE_CHECKING, Self

from parambak.find.forms import LONGEST
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.memory.image import Image

MOST_RUNS = 300_000
_CHANGED = re.compile(rb"[^\0]+")


class CommonBytes:
    """Stretches of the same addresses in each copy, one after the other in `datas`."""

    def __init__(self, ranges: Sequence[Range], datas: tuple[bytes, ...]) -> None:
        self.ranges = tuple(ranges)
        self.datas = datas
        self.size = len(datas[0])
        self._ends = list(accumulate(stretch.length for stretch in self.ranges))

    @classmethod
    def of(cls, images: Sequence[Image]) -> Self:
        """Return the bytes at the addresses that all images have; may be empty."""
        common = list(images[0].ranges)
        for image in images[1:]:
            common = list(_both(common, image.ranges))
        datas = tuple(
            b"".join(image.read(stretch.start, stretch.length) or b"" for stretch in common)
            for image in images
        )
        return cls(common, datas)

    def address(self, position: int, length: int = 1) -> int | None:
        """Return the address of a position; None if `length` bytes run over a stretch's end."""
        index = bisect_right(self._ends, position)
        if position + length > self._ends[index]:
            return None
        return self.ranges[index].end - (self._ends[index] - position)

    def position(self, address: int) -> int | None:
        """Return the position of an address, None if it is not in the common bytes."""
        index = bisect_right(self.ranges, address, key=lambda stretch: stretch.start) - 1
        if index < 0 or address >= self.ranges[index].end:
            return None
        return self._ends[index] - (self.ranges[index].end - address)

    def changes(self) -> tuple[Range, ...]:
        """Return the positions, not addresses, at which the copies are not all the same.

        If there are too many runs, the last includes all that follow.
        """
        first = int.from_bytes(self.datas[0], "big")
        differing = 0
        for data in self.datas[1:]:
            differing |= first ^ int.from_bytes(data, "big")
        marked = differing.to_bytes(self.size, "big")
        changed = [
            Range(match.start(), match.end() - match.start())
            for match in islice(_CHANGED.finditer(marked), MOST_RUNS)
        ]
        if len(changed) == MOST_RUNS:
            changed[-1] = Range(changed[-1].start, self.size - changed[-1].start)
        return tuple(changed)

    def around(self, changes: Iterable[Range]) -> CommonBytes:
        """Return the bytes within reach of a change: what a changed number may touch."""
        reach = LONGEST - 1
        kept: list[Range] = []
        for change in changes:
            first = max(0, change.start - reach)
            last = min(self.size, change.end + reach)
            if kept and first <= kept[-1].end:
                kept[-1] = Range(kept[-1].start, last - kept[-1].start)
            else:
                kept.append(Range(first, last - first))
        pieces = [piece for stretch in kept for piece in self._pieces(stretch)]
        datas = tuple(
            b"".join(data[stretch.start : stretch.end] for stretch in kept) for data in self.datas
        )
        return CommonBytes(pieces, datas)

    def _pieces(self, positions: Range) -> Iterable[Range]:
        """Yield the addresses of a stretch of positions, split where the addresses jump."""
        position = positions.start
        while position < positions.end:
            index = bisect_right(self._ends, position)
            until = min(self._ends[index], positions.end)
            start = self.ranges[index].end - (self._ends[index] - position)
            yield Range(start, until - position)
            position = until


def _both(first: Sequence[Range], second: Sequence[Range]) -> Iterable[Range]:
    """Yield the stretches that are in both, each given in address order."""
    one = two = 0
    while one < len(first) and two < len(second):
        start = max(first[one].start, second[two].start)
        end = min(first[one].end, second[two].end)
        if start < end:
            yield Range(start, end - start)
        if first[one].end < second[two].end:
            one += 1
        else:
            two += 1
