"""The fast path: stretches of records of one length, decoded and checked at once.

Most of a dump is data records of one type and length. Such a stretch is one table of
characters: its column of colons, of lengths, of types and each column of bytes is a slice
with a stride, so the interpreter's own loops do the work. Nothing is judged here: whatever
is not plainly in order raises `IrregularError`, and the file is read record by record.
"""

from __future__ import annotations

import sys
from array import array
from binascii import Error, unhexlify
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator

FEWEST: Final = 16
"""Lines below which a stretch is not worth the slicing."""
MOST: Final = 4096
"""Lines taken at once: their bytes stay in the processor's cache."""
_LONGEST: Final = 257
"""Bytes of a record whose sum still fits 16 bits."""


class IrregularError(Exception):
    """Something is not plainly in order, and is left to the record-by-record reader."""


class Shape(NamedTuple):
    """The records of one stretch.

    `head` is the text before the first byte; `before` the bytes before the address, of
    which the first counts the record's bytes; `width` the bytes of the address; `length`
    those of data; `sum` what a record's bytes add up to modulo 256; `kind` the bytes
    between address and data.
    """

    head: bytes
    before: int
    width: int
    length: int
    sum: int
    kind: bytes = b""

    @property
    def size(self) -> int:
        """Return the bytes of a record, its checksum included."""
        return self.before + self.width + len(self.kind) + self.length + 1

    def stride(self, line_end: bytes) -> int:
        """Return the characters of a line, its end included."""
        return len(self.head) + 2 * self.size + len(line_end)


def byte_of(digits: bytes) -> int | None:
    """Return the byte that two digits stand for, None where they are none."""
    try:
        return unhexlify(digits)[0] if len(digits) == 2 else None
    except Error:
        return None


def lines_alike(body: bytes, at: int, shape: Shape, most: int, line_end: bytes) -> int:
    """Return how many whole lines from `at` have the first line's frame, at most `most`.

    The frame is all that is the same in each line: head, length, kind and line end.
    """
    if shape.size > _LONGEST:
        return 0
    stride = shape.stride(line_end)
    lines = min(most, (len(body) - at) // stride)
    digits = len(shape.head)
    kind = digits + 2 * (shape.before + shape.width)
    end = stride - len(line_end)
    frame = [
        (column, body[at + column : at + column + 1])
        for column in (*range(digits + 2), *range(kind, kind + 2 * len(shape.kind)))
    ]
    frame += [(end + index, line_end[index : index + 1]) for index in range(len(line_end))]
    for column, mark in frame:
        marks = body[at + column : at + lines * stride : stride]
        if marks != mark * lines:
            lines = len(marks) - len(marks.lstrip(mark))
    return lines


def stretches(
    part: bytes, shape: Shape, line_end: bytes, lines: int
) -> Iterator[tuple[int, int, bytes]]:
    """Yield the data of so many lines alike, as they go on: first line from 0, address, bytes.

    Raise IrregularError where a line is not plainly a sound record of that shape.
    """
    table = _table(bytearray(part), shape, line_end, lines)
    yield from _going_on(table, shape, lines)


def _table(part: bytearray, shape: Shape, line_end: bytes, lines: int) -> bytes:
    """Return the bytes of the records, one after another.

    Heads and line ends, known to stand in their columns, are cut out column by column, the
    last first; all that is left must be digits.
    """
    stride = shape.stride(line_end)
    frame = (*range(len(shape.head)), *range(stride - len(line_end), stride))
    for cut, column in enumerate(reversed(frame)):
        del part[column :: stride - cut]
    try:
        table = unhexlify(part)
    except Error:
        raise IrregularError from None
    if len(table) != lines * shape.size:
        raise IrregularError
    return table


def _going_on(table: bytes, shape: Shape, lines: int) -> Iterator[tuple[int, int, bytes]]:
    """Check every record's sum; yield data that go on, with their first line and address.

    Lines count from 0. A record that runs over the range of its address comes alone.
    """
    step = shape.size
    columns = [table[index::step] for index in range(step)]
    _check_sums(columns, lines, shape.sum)
    first = shape.before + shape.width + len(shape.kind)
    length = shape.length
    data = bytearray(lines * length)
    for index in range(length):
        data[index::length] = columns[first + index]
    addresses = columns[shape.before : shape.before + shape.width]
    top = 1 << 8 * shape.width
    start = int.from_bytes(bytes(column[0] for column in addresses), "big")
    end = start + lines * length
    if end <= top and _counting(start, lines, length, shape.width) == addresses:
        yield 0, start, bytes(data)
        return
    yield from _scattered(addresses, bytes(data), length, top)


def _check_sums(columns: list[bytes], lines: int, expected: int) -> None:
    """Add the columns up, each byte in a lane of 16 bits: even lines apart from odd ones.

    Even lines are masked out and added; what they leave of the sum of all is the odd lines'.
    """
    low = _lanes((lines + 1) // 2, 0xFF)
    numbers = [int.from_bytes(column, "little") for column in columns]
    even = sum(map(low.__and__, numbers))
    odd = (sum(numbers) - even) >> 8
    right_even, right_odd = _lanes((lines + 1) // 2, expected), _lanes(lines // 2, expected)
    if even & low != right_even or odd & low != right_odd:
        raise IrregularError


@lru_cache(maxsize=16)
def _lanes(number: int, value: int) -> int:
    return int.from_bytes(bytes((value, 0)) * number, "little")


@lru_cache(maxsize=4)
def _counting(start: int, lines: int, length: int, width: int) -> list[bytes]:
    """Return the address columns of records that go on from each other."""
    addresses = array("I", range(start, start + lines * length, length))
    if sys.byteorder == "little":
        addresses.byteswap()
    size = addresses.itemsize
    packed = addresses.tobytes()
    return [packed[index::size] for index in range(size - width, size)]


def _scattered(
    columns: list[bytes], data: bytes, length: int, top: int
) -> Iterator[tuple[int, int, bytes]]:
    """Yield the data cut where the addresses do not go on from each other."""
    begun, start, expected = 0, -1, -1
    for index, parts in enumerate(zip(*columns, strict=True)):
        address = int.from_bytes(bytes(parts), "big")
        if address != expected:
            if start >= 0:
                yield begun, start, data[begun * length : index * length]
            begun, start = index, address
        expected = address + length
        if expected > top and address != start:
            yield begun, start, data[begun * length : index * length]
            begun, start = index, address
    yield begun, start, data[begun * length :]
