"""The picture of a memory: what each stretch of it is, by a character for each."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.expanded import places

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.layouts.expanded import Place
    from parambak.layouts.model import Layout

MOST_ROWS = 64

# Legible without colour; a cell of several bytes shows the last that applies to any of them.
CHARACTERS: Mapping[str, str] = MappingProxyType(
    {
        ".": "nothing known",
        "-": "reserved",
        "#": "a field",
        "+": "a field expected to change",
        "~": "live",
        "!": "a check",
    }
)
_ORDER = "".join(CHARACTERS)


class MapRow(NamedTuple):
    """One line of the picture: its first address, and a character for each cell."""

    start: int
    bytes_a_cell: int
    cells: str


def _character(place: Place) -> str:
    if place.kind == "check":
        return "!"
    if place.live:
        return "~"
    if place.reserved:
        return "-"
    return "+" if place.expected_to_change else "#"


def picture(layout: Layout, columns: int = 64) -> tuple[MapRow, ...]:
    """Return the picture of the layout's memory in rows of `columns` cells.

    A cell is one byte, or the smallest power of two of bytes with which the picture has
    at most 64 rows.
    """
    size = 1
    while layout.memory > columns * size * MOST_ROWS:
        size *= 2
    cells = [0] * -(-layout.memory // size)
    for place in places(layout):
        rank = _ORDER.index(_character(place))
        for cell in range(place.at // size, (place.end - 1) // size + 1):
            cells[cell] = max(cells[cell], rank)
    drawn = "".join(_ORDER[rank] for rank in cells)
    return tuple(
        MapRow(first * size, size, drawn[first : first + columns])
        for first in range(0, len(drawn), columns)
    )


class Part(NamedTuple):
    """One entry of the layout and the stretch that it takes; `rows` is of groups alone.

    `kind` is "field", "group", "check", "reserved", or "duplicate" of a block kept twice.
    A stretch may have holes: what is covered byte by byte, `coverage` knows.
    """

    name: str
    kind: str
    start: int
    length: int
    rows: int | None = None


def parts(layout: Layout) -> tuple[Part, ...]:
    """Return every entry of the layout in address order, a group as one, copies apart."""
    found: list[Part] = []
    groups: dict[str, list[int]] = {}
    for place in places(layout):
        top = place.name.split("[")[0]
        if place.kind == "field" and place.prefix and not place.again:
            reach = groups.setdefault(top, [place.at, place.end])
            reach[0], reach[1] = min(reach[0], place.at), max(reach[1], place.end)
        elif not place.again:
            found.append(Part(place.name, place.kind, place.at, place.length))
        elif not place.prefix and not _in_a_duplicate(layout, place):
            found.append(Part(f"{place.name}, again", place.kind, place.at, place.length))
    counts = {group.name: group.count for group in layout.groups}
    found += [
        Part(name, "group", start, end - start, counts[name])
        for name, (start, end) in groups.items()
    ]
    found += [
        Part(f"{block.name}, again", "duplicate", block.duplicate_at, block.length)
        for block in layout.kept_twice
    ]
    return tuple(sorted(found, key=lambda part: part.start))


def _in_a_duplicate(layout: Layout, place: Place) -> bool:
    return any(
        block.duplicate_at <= place.at and place.end <= block.duplicate_at + block.length
        for block in layout.kept_twice
    )
