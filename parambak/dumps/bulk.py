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
from typing import TYPE_CHECKING, Final, NamedTuple, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from parambak.dumps.text import Text

_FEWEST: Final = 16
"""Lines below which a stretch is not worth the slicing."""
_MOST: Final = 4096
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
    def bytes(self) -> int:
        """Return the bytes of a record, its checksum included."""
        return self.before + self.width + len(self.kind) + self.length + 1


class Reading(Protocol):
    """What a format's record-by-record reader offers to this path."""

    def takes_data(self) -> bool:
        """Return whether data records may still come."""

    def take(self, line: bytes, number: int) -> None:
        """Take one line."""

    def run(self, shape: Shape, address: int, data: bytes, number: int) -> None:
        """Take the data of records that go on from each other."""

    def finish(self) -> None:
        """Judge the end of the file."""


def take_in_bulk(text: Text, reading: Reading, shape_of: Callable[[bytes], Shape | None]) -> None:
    """Hand all of `text` to `reading`, stretches at once and other lines one by one."""
    body, line_end = text.body, text.line_end
    at, number, window = 0, text.first, _MOST
    while at < len(body):
        shape = shape_of(body[at : at + 9]) if reading.takes_data() else None
        lines = _lines_alike(body, at, shape, window, line_end) if shape else 0
        if shape is None or lines < _FEWEST:
            stop = body.find(line_end, at)
            stop = len(body) if stop < 0 else stop
            reading.take(body[at:stop], number)
            at, number = stop + len(line_end), number + 1
        else:
            end = at + lines * _stride(shape, line_end)
            table = _table(bytearray(body[at:end]), shape, line_end, lines)
            for index, address, data in _stretches(table, shape, lines):
                reading.run(shape, address, data, number + index)
            at, number = end, number + lines
        if shape is not None:
            # Looking far ahead for nothing, line after line, must not cost more than the lines.
            window = max(window // 2, _FEWEST) if lines < _FEWEST else min(window * 2, _MOST)
    reading.finish()


def byte_of(digits: bytes) -> int | None:
    """Return the byte that two digits stand for, None where they are none."""
    try:
        return unhexlify(digits)[0] if len(digits) == 2 else None
    except Error:
        return None


def _stride(shape: Shape, line_end: bytes) -> int:
    return len(shape.head) + 2 * shape.bytes + len(line_end)


def _lines_alike(body: bytes, at: int, shape: Shape, most: int, line_end: bytes) -> int:
    """Return how many whole lines from `at` have the first line's frame, at most `most`.

    The frame is all that is the same in each line: head, length, kind and line end.
    """
    if shape.bytes > _LONGEST:
        return 0
    stride = _stride(shape, line_end)
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
        seen = body[at + column : at + lines * stride : stride]
        if seen != mark * lines:
            lines = len(seen) - len(seen.lstrip(mark))
    return lines


def _table(part: bytearray, shape: Shape, line_end: bytes, lines: int) -> bytes:
    """Return the bytes of the records, one after another.

    Heads and line ends, known to stand in their columns, are cut out column by column, the
    last first; all that is left must be digits.
    """
    stride = _stride(shape, line_end)
    frame = (*range(len(shape.head)), *range(stride - len(line_end), stride))
    for cut, column in enumerate(reversed(frame)):
        del part[column :: stride - cut]
    try:
        table = unhexlify(part)
    except Error:
        raise IrregularError from None
    if len(table) != lines * shape.bytes:
        raise IrregularError
    return table


def _stretches(table: bytes, shape: Shape, lines: int) -> Iterator[tuple[int, int, bytes]]:
    """Check every record's sum; yield data that go on, with their first line and address.

    Lines count from 0. A record that runs over the range of its address comes alone.
    """
    step = shape.bytes
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
