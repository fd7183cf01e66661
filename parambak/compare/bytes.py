"""Two images, byte by byte.

A run is a longest stretch in which every byte differs; bytes that one side
does not hold make runs of their own, with that side empty.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.memory.image import Image

_DIFFERING = re.compile(rb"[^\x00]+")


class Run(NamedTuple):
    """A stretch that differs: its first address, and both sides' bytes.

    A side that does not hold the addresses is empty; two sides that do are
    of one length.
    """

    start: int
    old: bytes
    new: bytes

    @property
    def length(self) -> int:
        """Return how many addresses the run covers."""
        return max(len(self.old), len(self.new))

    @property
    def range(self) -> Range:
        """Return the addresses the run covers."""
        return Range(self.start, self.length)


def runs(old: Image, new: Image) -> tuple[Run, ...]:
    """Return every run in which two images differ, in address order."""
    return tuple(sorted([*_differing(old, new), *_only_old(old, new), *_only_new(old, new)]))


def differing_bytes(old: Image, new: Image) -> int:
    """Return how many addresses differ, those that one side lacks included."""
    return sum(run.length for run in runs(old, new))


def _differing(old: Image, new: Image) -> Iterator[Run]:
    for block in old.blocks:
        for other in new.part(block.start, block.end).blocks:
            low = other.start - block.start
            mine = block.data[low : low + len(other.data)]
            if mine == other.data:
                continue
            for found in _DIFFERING.finditer(_exclusive_or(mine, other.data)):
                low, high = found.span()
                yield Run(other.start + low, mine[low:high], other.data[low:high])


def _exclusive_or(one: bytes, other: bytes) -> bytes:
    both = int.from_bytes(one, "big") ^ int.from_bytes(other, "big")
    return both.to_bytes(len(one), "big")


def _only_old(old: Image, new: Image) -> Iterator[Run]:
    for block in old.without(new.ranges).blocks:
        yield Run(block.start, block.data, b"")


def _only_new(old: Image, new: Image) -> Iterator[Run]:
    for block in new.without(old.ranges).blocks:
        yield Run(block.start, b"", block.data)
