"""A map of a memory as SVG: what each stretch holds by the layout, and what changed.

Legible in black and white: each kind of cell has its own pattern, and a changed cell a black
mark inside it.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from markupsafe import Markup

from parambak.layouts.slots import slots

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from parambak.layouts.model import Layout
    from parambak.layouts.slots import Slot
    from parambak.memory.image import Image, Range

COLUMNS = 64
MOST_ROWS = 32
CELL = 9  # units of the drawing
LEFT = 66  # room for the address
TOP = 11  # room for the heads of the columns
HEADS = 8  # columns from one head to the next
_NAMESPACE = "http://www.w3.org/2000/svg"

ABSENT, UNKNOWN, RESERVED, FIELD, MOVING, CHECK = range(6)
WORDS = (
    "no bytes here",
    "no field",
    "reserved",
    "a field",
    "running or volatile",
    "a check",
)
_STYLES = ("url(#absent)", "#fff", "url(#reserved)", "#ddd", "url(#moving)", "url(#check)")
PATTERNS = Markup("""<svg class="patterns" width="0" height="0" aria-hidden="true"><defs>
<pattern id="absent" width="6" height="6" patternUnits="userSpaceOnUse">\
<path d="M0 6L6 0" stroke="#999" stroke-width=".7"/></pattern>
<pattern id="reserved" width="4" height="4" patternUnits="userSpaceOnUse">\
<circle cx="2" cy="2" r=".7" fill="#666"/></pattern>
<pattern id="moving" width="4" height="4" patternUnits="userSpaceOnUse">\
<rect width="4" height="4" fill="#ddd"/><path d="M0 2H4" stroke="#555" stroke-width=".8"/></pattern>
<pattern id="check" width="4" height="4" patternUnits="userSpaceOnUse">\
<rect width="4" height="4" fill="#ddd"/><path d="M2 0V4" stroke="#333" stroke-width="1"/></pattern>
</defs></svg>""")


class Cells(NamedTuple):
    """The cells of a map: bytes in each cell, the kind of each, and which changed."""

    bytes_a_cell: int
    kinds: bytes
    changed: frozenset[int]


def cells(size: int, image: Image, layout: Layout | None, changed: Iterable[Range]) -> Cells:
    """Return the cells of a memory of `size` bytes; a cell shows the last kind that applies."""
    step = 1
    while size > COLUMNS * MOST_ROWS * step:
        step *= 2
    count = -(-size // step)
    kinds = bytearray([ABSENT]) * count
    for block in image.ranges:
        for cell in _over(step, block.start, block.end, count):
            kinds[cell] = UNKNOWN
    for slot in slots(layout) if layout is not None else ():
        for cell in _over(step, slot.at, slot.end, count):
            if kinds[cell] != ABSENT:  # without bytes there are no fields
                kinds[cell] = max(kinds[cell], _kind(slot))
    touched = {cell for run in changed for cell in _over(step, run.start, run.end, count)}
    return Cells(step, bytes(kinds), frozenset(touched))


def _over(step: int, start: int, end: int, count: int) -> range:
    """Return the cells that a stretch of bytes touches."""
    return range(start // step, min((end - 1) // step + 1, count))


def _kind(slot: Slot) -> int:
    if slot.kind == "check":
        return CHECK
    if slot.kind == "reserved":
        return RESERVED
    return MOVING if slot.changes else FIELD


def draw(cells: Cells) -> Markup:
    """Return the map as one SVG element, addresses at the left of each row."""
    rows = -(-len(cells.kinds) // COLUMNS)
    width, height = LEFT + COLUMNS * CELL + 1, TOP + rows * CELL + 2
    head = f'<svg class="map" role="img" viewBox="0 0 {width} {height}" xmlns="{_NAMESPACE}">'
    lines = [head, *_columns(cells)]
    for row in range(rows):
        lines += _row(cells, row)
    lines.append("</svg>")
    return Markup("\n".join(lines))  # noqa: S704 - numbers and our own words alone


def _columns(cells: Cells) -> Iterator[str]:
    """Yield the heads above the columns: the offset from the address of the row."""
    for column in range(0, COLUMNS, HEADS):
        added = f"+0x{column * cells.bytes_a_cell:02X}"
        yield f'<text x="{LEFT + column * CELL}" y="{TOP - 2}">{added}</text>'


def _row(cells: Cells, row: int) -> Iterator[str]:
    first = row * COLUMNS
    top = TOP + row * CELL + 1
    digits = max(4, len(f"{len(cells.kinds) * cells.bytes_a_cell - 1:X}"))
    address = f"0x{first * cells.bytes_a_cell:0{digits}X}"
    yield f'<text x="{LEFT - 4}" y="{top + CELL - 2}" text-anchor="end">{address}</text>'
    column = 0
    for kind, group in groupby(cells.kinds[first : first + COLUMNS]):
        length = len(list(group))
        yield (
            f'<rect x="{LEFT + column * CELL}" y="{top}" width="{length * CELL}" height="{CELL}" '
            f'fill="{_STYLES[kind]}" stroke="#999" stroke-width=".4"/>'
        )
        column += length
    for cell in range(first, min(first + COLUMNS, len(cells.kinds))):
        if cell in cells.changed:
            left = LEFT + (cell - first) * CELL + 2
            yield f'<rect x="{left}" y="{top + 2}" width="{CELL - 4}" height="{CELL - 4}"/>'


def legend(cells: Cells) -> tuple[tuple[Markup, str], ...]:
    """Return a drawn sample and words for each kind of cell that the map shows."""
    shown = [
        (_sample(f'fill="{_STYLES[kind]}"', ""), WORDS[kind]) for kind in sorted(set(cells.kinds))
    ]
    if cells.changed:
        inner = f'<rect x="3" y="3" width="{CELL - 4}" height="{CELL - 4}"/>'
        shown.append((_sample('fill="#fff"', inner), "changed"))
    return tuple(shown)


def _sample(fill: str, inner: str) -> Markup:
    box = f'<rect x="1" y="1" width="{CELL}" height="{CELL}" {fill} stroke="#999"/>'
    return Markup(  # noqa: S704 - numbers and our own words alone
        f'<svg class="sample" width="{CELL + 2}" height="{CELL + 2}" '
        f'xmlns="{_NAMESPACE}">{box}{inner}</svg>'
    )
