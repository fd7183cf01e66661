"""Where a dump's bytes go: records in file order become one image, or a refusal."""

from __future__ import annotations

from array import array
from bisect import bisect_right
from itertools import pairwise
from typing import TYPE_CHECKING, Protocol

from parambak.dumps.dump import SAME_BYTE_TWICE
from parambak.dumps.limits import MAX_IMAGE, MAX_RANGES, MAX_SPAN
from parambak.memory.counted import counted
from parambak.memory.findings import Finding
from parambak.memory.image import Block, Image, Range

if TYPE_CHECKING:
    from parambak.dumps.dump import Terms
    from parambak.dumps.faults import RecordFaults


_WORDS = (2, 4)
"""Bytes of a word, by which a converter may count addresses."""


class Destination(Protocol):
    """What a format's reader hands its data to."""

    def put(self, address: int, data: bytes, line: int) -> None:
        """Take `data` of one record, the first byte at `address`."""


class Placing:
    """Collects data in file order, and checks each record against the limits.

    Data that goes on where the last left off costs no new entry, so that memory follows
    the bytes carried and not the number of records.
    """

    def __init__(self, faults: RecordFaults, terms: Terms) -> None:
        self.content = bytearray()
        self._faults = faults
        self._low_allowed = terms.base if terms.memory_size is not None else 0
        self._end_allowed = terms.end
        self._starts = array("Q")
        self._marks = array("Q")
        self._next = -1
        self._low = 0
        self._high = -1

    def put(self, address: int, data: bytes, line: int) -> None:
        """Take `data`, the first byte at `address`; refuse what passes a limit."""
        end = address + len(data)
        if end > self._high or address < self._low:
            self._widen(address, end, line)
        if address != self._next:
            self._starts.append(address)
            self._marks.append(len(self.content))
        self.content += data
        self._next = end
        if len(self.content) > MAX_IMAGE:
            raise self._faults.too_many_bytes.error(
                line=line, expected=f"at most {MAX_IMAGE} bytes", found="more"
            )

    def _widen(self, address: int, end: int, line: int) -> None:
        if self._end_allowed is not None and not (
            self._low_allowed <= address and end <= self._end_allowed
        ):
            first = address if address < self._low_allowed else max(address, self._end_allowed)
            raise self._faults.outside.error(
                line=line,
                offset=first,
                expected=f"addresses {shown(self._low_allowed)} to {shown(self._end_allowed - 1)}",
                found=shown(first),
            )
        self._low = address if self._high < 0 else min(self._low, address)
        self._high = max(self._high, end)
        if self._high - self._low > MAX_SPAN:
            raise self._faults.span.error(
                line=line,
                offset=address,
                expected=f"at most {MAX_SPAN} bytes from the first to the last",
                found=f"addresses {shown(self._low)} to {shown(self._high - 1)}",
            )

    def image(self) -> Image | None:
        """Return the image, or None where records overlap: `Painting` then judges them."""
        if len(self._starts) <= 1:
            return Image.of(bytes(self.content), self._starts[0] if self._starts else 0)
        order = self._order()
        ranges, overlap = self._joined(order)
        if overlap:
            return None
        return Image(tuple(self._blocks(ranges, order)))

    def ranges(self) -> list[Range]:
        """Return the stretches present, in address order."""
        return self._joined(self._order())[0]

    def words(self) -> int | None:
        """Return how many bytes an address counts, 2 or 4, if it counts words; else None.

        Then each record's address is less than a record's length after that of the one before.
        """
        lengths = [self._marks_end(run) - self._marks[run] for run in range(len(self._starts))]
        steps = [after - before for before, after in pairwise(self._starts)]
        for size in _WORDS:
            fits = sum(step * size == length for step, length in zip(steps, lengths, strict=False))
            if fits > 1 and fits * 4 >= len(steps) * 3:
                return size
        return None

    def second(self) -> int:
        """Return the address of the second stretch, in the order of the file."""
        return self._starts[1]

    def _order(self) -> list[int]:
        return sorted(range(len(self._starts)), key=self._starts.__getitem__)

    def _joined(self, order: list[int]) -> tuple[list[Range], bool]:
        """Join the runs that touch; return whether any overlap."""
        starts, ends = array("Q"), array("Q")
        overlap = False
        last = -1
        for run in order:
            start = self._starts[run]
            end = start + self._marks_end(run) - self._marks[run]
            if start > last:
                starts.append(start)
                ends.append(end)
                last = end
            else:
                overlap = overlap or start < last
                ends[-1] = last = max(last, end)
        if len(starts) > MAX_RANGES:
            raise self._faults.too_many_ranges.error(
                expected=f"at most {MAX_RANGES} stretches of addresses", found=str(len(starts))
            )
        ranges = [Range(start, end - start) for start, end in zip(starts, ends, strict=True)]
        return ranges, overlap

    def _marks_end(self, run: int) -> int:
        return self._marks[run + 1] if run + 1 < len(self._marks) else len(self.content)

    def _blocks(self, ranges: list[Range], order: list[int]) -> list[Block]:
        """Cut the content, in the order of the file, into blocks in address order."""
        content = memoryview(self.content)
        runs = iter(order)
        blocks = []
        for stretch in ranges:
            parts = []
            remaining = stretch.length
            while remaining:
                run = next(runs)
                part = content[self._marks[run] : self._marks_end(run)]
                parts.append(part)
                remaining -= len(part)
            blocks.append(Block(stretch.start, b"".join(parts)))
        return blocks


def refuse_words(placing: Placing, faults: RecordFaults) -> None:
    """Refuse records that overlap because their addresses count words."""
    size = placing.words()
    if size is not None:
        raise faults.word_addressed.error(
            offset=placing.second(),
            expected="addresses that count bytes",
            found=f"addresses that count words of {size} bytes",
        )


class Painting:
    """Judges overlapping records: each byte in file order, on the ranges of a first pass."""

    def __init__(self, ranges: list[Range], faults: RecordFaults, terms: Terms) -> None:
        self._ranges = ranges
        self._starts = [stretch.start for stretch in ranges]
        self._offsets = [0]
        for stretch in ranges:
            self._offsets.append(self._offsets[-1] + stretch.length)
        self._content = bytearray(self._offsets[-1])
        self._held = bytearray(self._offsets[-1])
        self._faults = faults
        self._allowed = terms.allows(SAME_BYTE_TWICE)
        self.first_twice: tuple[int, int] | None = None
        """Line and address of the first byte that was given twice."""
        self.twice = 0
        """How many bytes were given again."""

    def put(self, address: int, data: bytes, line: int) -> None:
        """Take `data`; refuse a byte that differs, or any given twice where not allowed."""
        if not data:
            return
        index = bisect_right(self._starts, address) - 1
        low = self._offsets[index] + address - self._starts[index]
        high = low + len(data)
        held = bytes(self._held[low:high])
        if any(held):
            self._judge(address, data, held, bytes(self._content[low:high]), line)
        self._content[low:high] = data
        self._held[low:high] = b"\x01" * len(data)

    def _judge(self, address: int, data: bytes, held: bytes, old: bytes, line: int) -> None:
        for index, (present, was, byte) in enumerate(zip(held, old, data, strict=True)):
            if not present:
                continue
            shown_address = shown(address + index)
            if was != byte:
                raise self._faults.conflict.error(
                    line=line,
                    offset=address + index,
                    expected=f"{was:02X} at {shown_address}, as in an earlier record",
                    found=f"{byte:02X}",
                )
            if not self._allowed:
                raise self._faults.same_byte_twice.error(
                    line=line,
                    offset=address + index,
                    expected=f"{shown_address} given once",
                    found=f"{byte:02X} given again",
                )
            self.first_twice = self.first_twice or (line, address + index)
            self.twice += 1

    def finding(self) -> Finding:
        """Return the finding about the bytes that were given twice."""
        line, address = self.first_twice or (None, 0)
        number = counted(self.twice, "byte")
        text = f"allowed: {number} given twice with the same value, first at {shown(address)}"
        return Finding(
            f"{self._faults.prefix}-same-byte-twice-accepted", text, line=line, offset=address
        )

    def image(self) -> Image:
        """Return the image that was painted."""
        return Image.from_content(bytes(self._content), self._ranges)


def shown(address: int) -> str:
    """Return an address as people see it: 0x and four digits, or eight past 64 KiB."""
    return f"0x{address:04X}" if address <= 0xFFFF else f"0x{address:08X}"
