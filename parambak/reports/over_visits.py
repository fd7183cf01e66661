"""A memory over the visits as SVG: addresses across, visits down, what changed marked.

Legible in black and white: a read is a grey bar. A black mark shows bytes that differ from the
read before; its height is the share of the cell's bytes that changed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from markupsafe import Markup

from parambak.differences.bytes import runs

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.memory.image import Image

COLUMNS = 96
MOST_VISITS = 40  # the newest
CELL, ROW = 6, 12  # units of the drawing
LEFT, TOP = 62, 12
HEADS = 16  # columns between the addresses above
LOWEST = 3  # units of the lowest mark
_NAMESPACE = "http://www.w3.org/2000/svg"


class Visit(NamedTuple):
    """One row: its day, and how many bytes of each cell changed since the row before."""

    on: str
    changed: tuple[int, ...]


class Grid(NamedTuple):
    """The rows, oldest first, and how many bytes a cell shows."""

    bytes_a_cell: int
    visits: tuple[Visit, ...]


def grid(size: int, images: Sequence[tuple[str, Image]]) -> Grid:
    """Return the rows of a memory of `size` bytes from its images, oldest first, by day."""
    step = -(-size // COLUMNS)
    count = -(-size // step)
    before: Image | None = None
    rows = []
    for on, image in images:
        changed = [0] * count
        for run in runs(before, image) if before is not None else ():
            for address in range(run.start, min(run.start + run.length, size)):
                changed[address // step] += 1
        rows.append(Visit(on, tuple(changed)))
        before = image
    return Grid(step, tuple(rows[-MOST_VISITS:]))


def draw(grid: Grid) -> Markup:
    """Return the grid as one SVG element."""
    cells = len(grid.visits[0].changed) if grid.visits else 0
    width, height = LEFT + cells * CELL + 2, TOP + len(grid.visits) * ROW + 2
    head = f'<svg class="map" role="img" viewBox="0 0 {width} {height}" xmlns="{_NAMESPACE}">'
    lines = [head, *_heads(grid, cells)]
    for row, visit in enumerate(grid.visits):
        lines += _row(grid, row, visit)
    lines.append("</svg>")
    return Markup("\n".join(lines))  # noqa: S704 - numbers, days and our own words alone


def _heads(grid: Grid, cells: int) -> Iterator[str]:
    digits = max(4, len(f"{cells * grid.bytes_a_cell:X}"))
    for column in range(0, cells, HEADS):
        address = f"0x{column * grid.bytes_a_cell:0{digits}X}"
        yield f'<text x="{LEFT + column * CELL}" y="{TOP - 3}">{address}</text>'


def _row(grid: Grid, row: int, visit: Visit) -> Iterator[str]:
    top = TOP + row * ROW
    width = len(visit.changed) * CELL
    yield f'<text x="{LEFT - 4}" y="{top + ROW - 4}" text-anchor="end">{visit.on}</text>'
    yield (
        f'<rect x="{LEFT}" y="{top + 1}" width="{width}" height="{ROW - 2}" fill="#e4e4e4" '
        'stroke="#999" stroke-width=".4"/>'
    )
    for cell, count in enumerate(visit.changed):
        if count:
            tall = max(LOWEST, (ROW - 2) * min(count, grid.bytes_a_cell) // grid.bytes_a_cell)
            yield (
                f'<rect x="{LEFT + cell * CELL + 1}" y="{top + ROW - 1 - tall}" '
                f'width="{CELL - 2}" height="{tall}"/>'
            )
