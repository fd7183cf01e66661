"""The changed bytes of two images side by side, in rows of eight, with some around."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.differences.bytes import Run
    from parambak.differences.moves import Move
    from parambak.memory.image import Image

ROW_BYTES = 8
AROUND = 1  # rows before and after a changed one
MOST_ROWS = 48
ABSENT = "--"


class ByteRow(Struct, frozen=True):
    """Eight addresses from `at`: both sides in hexadecimal, `--` for an absent byte."""

    at: int
    old: str
    new: str


def rows_around(
    old: Image, new: Image, runs: Sequence[Run], moves: Sequence[Move] = ()
) -> tuple[list[ByteRow], int]:
    """Return the changed rows with those around, and how many changed ones are left out.

    What a move explains is not shown.
    """
    changed = _changed_rows(runs, moves)
    numbers, more = _with_around(changed, max(old.end, new.end))
    return [_row(old, new, number * ROW_BYTES) for number in numbers], more


def _changed_rows(runs: Iterable[Run], moves: Sequence[Move]) -> list[int]:
    """Return the numbers of the rows that differ, without those that a move explains."""
    rows: dict[int, None] = {}
    for run in runs:
        first, last = run.start // ROW_BYTES, (run.range.end - 1) // ROW_BYTES
        for row in range(first, min(last, first + MOST_ROWS) + 1):
            low = max(row * ROW_BYTES, run.start)
            high = min(row * ROW_BYTES + ROW_BYTES, run.range.end)
            if not any(_explains(move, low, high) for move in moves):
                rows[row] = None
    return sorted(rows)


def _explains(move: Move, low: int, high: int) -> bool:
    if not (move.start <= low and high <= move.end):
        return False
    at = bisect_right(move.left, low, key=lambda stretch: stretch.end)
    return at == len(move.left) or move.left[at].start >= high


def _with_around(changed: Sequence[int], end: int) -> tuple[list[int], int]:
    """Return the rows to show, those around the changed ones among them, and how many are not."""
    rows: set[int] = set()
    for number, row in enumerate(changed):
        near = range(row - AROUND, row + AROUND + 1)
        wider = {other for other in near if 0 <= other * ROW_BYTES < end}
        if len(rows | wider) > MOST_ROWS:
            return sorted(rows), len(changed) - number
        rows |= wider
    return sorted(rows), 0


def _row(old: Image, new: Image, at: int) -> ByteRow:
    sides = ("".join(_byte(image, at + by) for by in range(ROW_BYTES)) for image in (old, new))
    return ByteRow(at, *sides)


def _byte(image: Image, address: int) -> str:
    data = image.read(address, 1)
    return ABSENT if data is None else f"{data[0]:02X}"
