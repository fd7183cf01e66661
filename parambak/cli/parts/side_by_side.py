"""The changed bytes of two images side by side, with some lines around: 80 columns at most."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.differences.bytes import Run
    from parambak.differences.moves import Move
    from parambak.memory.image import Image

ROW = 8  # bytes of each side in a line
AROUND = 1  # lines before and after a changed one
MOST_LINES = 48
SAME, ABSENT = "..", "--"


def lines(
    old: Image, new: Image, found: Sequence[Run], moves: Sequence[Move] = ()
) -> tuple[list[str], int]:
    """Return the lines, and how many changed ones are left out for want of room.

    What a move accounts for is not shown. The new side shows what differs alone.
    """
    changed = _changed_rows(found, moves)
    shown, left_out = _with_around(changed, max(old.end, new.end))
    digits = 4 if max(old.end, new.end) <= 0x10000 else 8
    width = ROW * 3 - 1
    made = [f"{'address':<{digits + 2}}  {'old':<{width + ROW + 2}}  new ({SAME} as before)"]
    last = None
    for row in shown:
        if last is not None and row != last + 1:
            made.append("...")
        made.append(_line(old, new, row * ROW, digits))
        last = row
    return made, left_out


def _changed_rows(found: Iterable[Run], moves: Sequence[Move]) -> list[int]:
    rows: dict[int, None] = {}
    for run in found:
        first, last = run.start // ROW, (run.range.end - 1) // ROW
        for row in range(first, min(last, first + MOST_LINES) + 1):
            low, high = max(row * ROW, run.start), min(row * ROW + ROW, run.range.end)
            if not any(_accounts(each, low, high) for each in moves):
                rows[row] = None
    return sorted(rows)


def _accounts(move: Move, low: int, high: int) -> bool:
    if not (move.start <= low and high <= move.end):
        return False
    at = bisect_right(move.left, low, key=lambda each: each.end)
    return at == len(move.left) or move.left[at].start >= high


def _with_around(changed: Sequence[int], end: int) -> tuple[list[int], int]:
    """Return the rows to show, those around the changed ones among them, and how many are not."""
    rows: set[int] = set()
    for number, row in enumerate(changed):
        wider = {each for each in range(row - AROUND, row + AROUND + 1) if 0 <= each * ROW < end}
        if len(rows | wider) > MOST_LINES:
            return sorted(rows), len(changed) - number
        rows |= wider
    return sorted(rows), 0


def _line(old: Image, new: Image, at: int, digits: int) -> str:
    was = [_byte(old, address) for address in range(at, at + ROW)]
    now = [_byte(new, address) for address in range(at, at + ROW)]
    left = " ".join(ABSENT if each is None else f"{each:02X}" for each in was)
    right = " ".join(_new(before, after) for before, after in zip(was, now, strict=True))
    texts = "".join(_letter(each) for each in was)
    changed = "".join(
        " " if before == after else _letter(after) for before, after in zip(was, now, strict=True)
    )
    return f"0x{at:0{digits}X}  {left}  {texts}  {right}  {changed}".rstrip()


def _byte(image: Image, address: int) -> int | None:
    data = image.read(address, 1)
    return data[0] if data is not None else None


def _new(before: int | None, after: int | None) -> str:
    if before == after:
        return SAME if after is not None else ABSENT
    return ABSENT if after is None else f"{after:02X}"


def _letter(byte: int | None) -> str:
    if byte is None:
        return " "
    return chr(byte) if 0x20 <= byte < 0x7F else "."
