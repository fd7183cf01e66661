"""Three reads or more of a failing chip: what most of them hold, bit by bit.

The result is a reconstruction. It is not a read, and never verified by itself.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.errors import CallRefused, DumpRefused, Fault
from parambak.memory.image import Image, Range

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

FEWEST: Final = 3
MOST: Final = 64
"""Reads that may vote."""
MOST_DOUBTFUL: Final = 262_144
"""Bytes that may differ: above, the reads are not of one memory with weak cells."""

_AGAIN: Final = "Read the whole chip again with the same device selected. Vote over those reads."
VOTE_READS: Final = Fault(
    "read-vote-number",
    CallRefused,
    "a vote requires three reads or more",
    f"Reseat the chip and read it again until there are three reads. {MOST} are the most.",
)
VOTE_RANGES: Final = Fault(
    "read-vote-ranges", DumpRefused, "the reads do not hold the same addresses", _AGAIN
)
VOTE_DOUBTFUL: Final = Fault(
    "read-vote-doubtful",
    DumpRefused,
    "the reads differ in too many bytes for a vote",
    "Find and correct the cause of the differences. Then read the chip again.",
)

_DOUBTFUL: Final = re.compile(rb"[^\x00]")


class Doubt(NamedTuple):
    """A byte on which the reads are not unanimous.

    `values` are the bytes of the reads, in the order given; `chosen` what the vote gives, None
    if a bit is tied; `tied` the tied bits, as a mask.
    """

    address: int
    values: tuple[int, ...]
    chosen: int | None
    tied: int


@dataclass(frozen=True, slots=True)
class Vote:
    """What a vote gives. Reconstructed: it never becomes verified by itself.

    A byte with a tied bit is absent from `image`.
    """

    image: Image
    reads: int
    not_unanimous: tuple[Doubt, ...]

    @property
    def ties(self) -> tuple[Doubt, ...]:
        """Return the bytes that the vote leaves open, in address order."""
        return tuple(doubt for doubt in self.not_unanimous if doubt.tied)


def vote(images: Sequence[Image]) -> Vote:
    """Return what most of the reads hold, bit by bit, and every byte in doubt.

    Raises CallRefused for fewer than three reads or more than 64, DumpRefused if they do not
    hold the same addresses or differ in more than 262,144 bytes.
    """
    if not FEWEST <= len(images) <= MOST:
        raise VOTE_READS.error(expected=f"{FEWEST} to {MOST} reads", found=str(len(images)))
    _same_ranges(images)
    contents = [image.content for image in images]
    chosen, tied, doubtful = _count(contents)
    number = len(doubtful) - doubtful.count(0)
    if number > MOST_DOUBTFUL:
        raise VOTE_DOUBTFUL.error(expected=f"{MOST_DOUBTFUL} bytes at most", found=str(number))
    ranges = images[0].ranges
    doubts = tuple(_doubts(contents, chosen, tied, doubtful, ranges))
    image = Image.from_content(chosen, ranges)
    holes = [Range(doubt.address, 1) for doubt in doubts if doubt.tied]
    return Vote(image.without(holes), len(images), doubts)


def _same_ranges(images: Sequence[Image]) -> None:
    first = images[0]
    differing = [n for n, image in enumerate(images, 1) if image.ranges != first.ranges]
    if differing:
        shown = ", ".join(f"read {n} ({images[n - 1].extent})" for n in differing[:4])
        more = f" and {len(differing) - 4} more" if len(differing) > 4 else ""
        raise VOTE_RANGES.error(expected=f"{first.extent}, as read 1 holds", found=shown + more)


def _count(contents: Sequence[bytes]) -> tuple[bytes, bytes, bytes]:
    """Return the bits that most have, those tied, and those not unanimous.

    The counters of all bits are kept as planes, one number of the whole memory for each
    binary digit: a read is added to all at once.
    """
    size = len(contents[0])
    planes: list[int] = []
    in_all, in_some = -1, 0
    for content in contents:
        bits = int.from_bytes(content, "little")
        in_all, in_some = in_all & bits, in_some | bits
        for index, plane in enumerate(planes):
            planes[index], bits = plane ^ bits, plane & bits
        planes.append(bits)
        if not planes[-1]:
            planes.pop()
    most, tied = _compared(planes, len(contents) // 2, (1 << 8 * size) - 1)
    if len(contents) % 2:
        tied = 0
    doubtful = in_some & ~in_all
    return (
        most.to_bytes(size, "little"),
        tied.to_bytes(size, "little"),
        doubtful.to_bytes(size, "little"),
    )


def _compared(planes: Sequence[int], half: int, full: int) -> tuple[int, int]:
    """Return the bits counted more than `half` times, and those counted exactly so often."""
    above, equal = 0, full
    for index in reversed(range(max(len(planes), half.bit_length()))):
        plane = planes[index] if index < len(planes) else 0
        if half >> index & 1:
            equal &= plane
        else:
            above |= equal & plane
            equal &= ~plane
    return above, equal


def _doubts(
    contents: Sequence[bytes],
    chosen: bytes,
    tied: bytes,
    doubtful: bytes,
    ranges: Sequence[Range],
) -> Iterator[Doubt]:
    begin = 0
    for stretch in ranges:
        for match in _DOUBTFUL.finditer(doubtful, begin, begin + stretch.length):
            at = match.start()
            values = tuple(content[at] for content in contents)
            decided = None if tied[at] else chosen[at]
            yield Doubt(stretch.start + at - begin, values, decided, tied[at])
        begin += stretch.length
