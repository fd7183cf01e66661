"""Two images, byte by byte.

A run is a longest stretch in which every byte differs; bytes that one side
does not hold make runs of their own, with that side empty.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from parambak.memory.image import Block, Range
from parambak.memory.relations import exclusive_or

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from parambak.memory.image import Image

_DIFFERING = re.compile(rb"[^\x00]+")
_STRETCH, _PIECE = 8192, 256  # bytes that are skipped at once if they are equal


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
    differing = [*_differing(old, new)]
    differing += [Run(block.start, block.data, b"") for block in _only(old.blocks, new.blocks)]
    differing += [Run(block.start, b"", block.data) for block in _only(new.blocks, old.blocks)]
    return tuple(sorted(differing))


def differing_bytes(old: Image, new: Image, masks: Mapping[int, int] | None = None) -> int:
    """Return how many addresses differ, those that one side does not have included.

    With `masks` (address to bits), a byte counts only if a bit outside its mask differs;
    a byte that one side does not have counts unless the mask covers all its bits.
    """
    differing = runs(old, new)
    if not masks:
        return sum(run.length for run in differing)
    return sum(len(beyond(run, masks)) for run in differing)


def changed_bits(run: Run) -> Iterator[tuple[int, int]]:
    """Yield each address of a run and its differing bits, 0xFF if one side does not have it."""
    if len(run.old) != len(run.new):
        yield from ((address, 0xFF) for address in range(run.start, run.range.end))
        return
    pairs = zip(run.old, run.new, strict=True)
    yield from ((address, old ^ new) for address, (old, new) in enumerate(pairs, run.start))


def beyond(run: Run, masks: Mapping[int, int]) -> tuple[int, ...]:
    """Return the addresses of a run at which a bit outside the masks (address to bits) differs."""
    return tuple(address for address, bits in changed_bits(run) if bits & ~masks.get(address, 0))


def beyond_bits(run: Run, bits: bytes) -> Iterator[tuple[int, int]]:
    """Yield the stretches of a run in which a bit outside `bits` differs: offset, length.

    `bits` are as long as the run; if one side does not have the run, every bit differs.
    """
    changed = b"\xff" * run.length
    if len(run.old) == len(run.new):
        changed = exclusive_or(run.old, run.new)
    loose = int.from_bytes(changed, "big") & ~int.from_bytes(bits, "big")
    for match in _DIFFERING.finditer(loose.to_bytes(run.length, "big")):
        yield match.start(), match.end() - match.start()


def _differing(old: Image, new: Image) -> Iterator[Run]:
    for block, other in _overlapping(old.blocks, new.blocks):
        low, high = max(block.start, other.start), min(block.end, other.end)
        mine = block.data[low - block.start : high - block.start]
        theirs = other.data[low - other.start : high - other.start]
        for start, end in _unequal(mine, theirs):
            here, there = mine[start:end], theirs[start:end]
            for match in _DIFFERING.finditer(exclusive_or(here, there)):
                at, last = match.span()
                yield Run(low + start + at, here[at:last], there[at:last])


def _unequal(mine: bytes, theirs: bytes) -> Iterator[tuple[int, int]]:
    """Yield the pieces in which two stretches of one length differ, pieces that touch joined.

    Equal pieces are skipped: comparing them costs far less than combining.
    """
    begun = end = -1
    for start in _unequal_pieces(mine, theirs):
        if start != end:
            if begun >= 0:
                yield begun, end
            begun = start
        end = min(start + _PIECE, len(mine))
    if begun >= 0:
        yield begun, end


def _unequal_pieces(mine: bytes, theirs: bytes) -> Iterator[int]:
    """Yield where each small piece starts that differs, in order."""
    for start in range(0, len(mine), _STRETCH):
        if mine[start : start + _STRETCH] == theirs[start : start + _STRETCH]:
            continue
        for at in range(start, min(start + _STRETCH, len(mine)), _PIECE):
            if mine[at : at + _PIECE] != theirs[at : at + _PIECE]:
                yield at


def _overlapping(some: Sequence[Block], others: Sequence[Block]) -> Iterator[tuple[Block, Block]]:
    """Yield each two blocks that share an address; both sides are in address order."""
    one = two = 0
    while one < len(some) and two < len(others):
        block, other = some[one], others[two]
        if block.start < other.end and other.start < block.end:
            yield block, other
        if block.end <= other.end:
            one += 1
        else:
            two += 1


def _only(some: Sequence[Block], others: Sequence[Block]) -> Iterator[Block]:
    """Yield the stretches of `some` that none of `others` holds; both are in address order."""
    first = 0
    for block in some:
        while first < len(others) and others[first].end <= block.start:
            first += 1
        at, index = block.start, first
        while index < len(others) and others[index].start < block.end:
            if others[index].start > at:
                yield _cut(block, at, others[index].start)
            at = others[index].end
            index += 1
        if at < block.end:
            yield _cut(block, at, block.end)


def _cut(block: Block, start: int, end: int) -> Block:
    return Block(start, block.data[start - block.start : end - block.start])
