"""The picture of a memory: what each stretch of it is, by a character for each."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.places import places

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.layouts.model import Layout
    from parambak.layouts.places import Place

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
