"""The immutable sparse image: bytes and their addresses.

An address that no block holds is absent. Absent is never taken for FF.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, NamedTuple, Self

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


class Range(NamedTuple):
    """A stretch of addresses: `start`, and `length` in bytes."""

    start: int
    length: int

    @property
    def end(self) -> int:
        """Return the first address after the stretch."""
        return self.start + self.length

    @property
    def text(self) -> str:
        """Return the first and last address, "0x0010-0x001F"; of one byte its own, "0x0010"."""
        if self.length == 1:
            return f"0x{self.start:04X}"
        return f"0x{self.start:04X}-0x{self.end - 1:04X}"


class Block(NamedTuple):
    """Adjacent bytes, the first at `start`."""

    start: int
    data: bytes

    @property
    def end(self) -> int:
        """Return the first address after the block."""
        return self.start + len(self.data)


class OverlapError(ValueError):
    """Two blocks hold one address; `address` is the first such."""

    def __init__(self, address: int) -> None:
        super().__init__(f"two blocks hold address {address:#x}")
        self.address = address


class Image(Struct, frozen=True):
    """Blocks in address order, none empty, none touching the next.

    Two images are equal if they hold the same bytes at the same addresses.
    Make one with `of`, `from_blocks` or `from_content`.
    """

    blocks: tuple[Block, ...]

    @classmethod
    def of(cls, data: bytes, start: int = 0) -> Self:
        """Return the image of `data` from address `start`; empty data gives an empty image."""
        return cls((Block(start, data),) if data else ())

    @classmethod
    def from_blocks(cls, blocks: Iterable[Block]) -> Self:
        """Sort and join blocks; raise `OverlapError` if two hold one address."""
        joined: list[tuple[int, list[bytes]]] = []
        end = -1
        for block in sorted(blocks, key=lambda block: block.start):
            if not block.data:
                continue
            if joined and block.start < end:
                raise OverlapError(block.start)
            if joined and block.start == end:
                joined[-1][1].append(block.data)
            else:
                joined.append((block.start, [block.data]))
            end = block.end
        return cls(tuple(Block(start, b"".join(parts)) for start, parts in joined))

    @classmethod
    def from_content(cls, content: bytes, ranges: Sequence[Range]) -> Self:
        """Return the image whose ranges, in address order, are filled from `content`.

        Raise ValueError if the lengths do not add up to that of the content.
        """
        if sum(stretch.length for stretch in ranges) != len(content):
            raise ValueError("the ranges do not add up to the content")
        blocks = []
        taken = 0
        for stretch in ranges:
            blocks.append(Block(stretch.start, content[taken : taken + stretch.length]))
            taken += stretch.length
        return cls.from_blocks(blocks)

    @property
    def size(self) -> int:
        """Return how many bytes are present."""
        return sum(len(block.data) for block in self.blocks)

    @property
    def start(self) -> int:
        """Return the lowest address present, 0 for an empty image."""
        return self.blocks[0].start if self.blocks else 0

    @property
    def end(self) -> int:
        """Return the first address after the last byte present, 0 for an empty image."""
        return self.blocks[-1].end if self.blocks else 0

    @property
    def ranges(self) -> tuple[Range, ...]:
        """Return the stretches present, in address order."""
        return tuple(Range(block.start, len(block.data)) for block in self.blocks)

    @property
    def content(self) -> bytes:
        """Return the bytes present, concatenated in address order."""
        if len(self.blocks) == 1:
            return self.blocks[0].data
        return b"".join(block.data for block in self.blocks)

    @property
    def extent(self) -> str:
        """Return how many bytes there are and where, in words."""
        if not self.size:
            return "no bytes"
        stretches = len(self.blocks)
        more = f" in {stretches} stretches" if stretches > 1 else ""
        return f"{self.size} bytes from 0x{self.start:04X} to 0x{self.end - 1:04X}{more}"

    def read(self, start: int, length: int) -> bytes | None:
        """Return `length` bytes from `start`, or None if any of them is absent."""
        index = bisect_right(self.blocks, start, key=lambda block: block.start) - 1
        if index < 0:
            return None
        block = self.blocks[index]
        if start + length > block.end:
            return None
        return block.data[start - block.start : start - block.start + length]

    def part(self, start: int, end: int) -> Image:
        """Return what is present from `start` up to, not including, `end`."""
        blocks = []
        for block in self.blocks:
            low, high = max(start, block.start), min(end, block.end)
            if low < high:
                blocks.append(Block(low, block.data[low - block.start : high - block.start]))
        return Image(tuple(blocks))

    def without(self, holes: Iterable[Range]) -> Image:
        """Return the image with the bytes of `holes` absent, in one pass: there may be many."""
        ordered, index = sorted(holes), 0
        blocks = []
        for block in self.blocks:
            at = block.start
            while index < len(ordered) and ordered[index].start < block.end:
                hole = ordered[index]
                if hole.start > at:
                    blocks.append(
                        Block(at, block.data[at - block.start : hole.start - block.start])
                    )
                at = max(at, hole.end)
                if hole.end > block.end:
                    break  # it continues in the next block
                index += 1
            if at < block.end:
                blocks.append(Block(at, block.data[at - block.start :]))
        return Image(tuple(blocks))

    def filled(self, start: int, end: int, value: int) -> bytes:
        """Return the bytes from `start` up to `end`, absent ones as `value` (0 to 255)."""
        filled = bytearray([value]) * (end - start)
        for block in self.part(start, end).blocks:
            filled[block.start - start : block.end - start] = block.data
        return bytes(filled)
