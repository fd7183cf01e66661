"""Tables, drawn by rich: columns that wrap, plain in a pipe."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Literal

from rich import box
from rich.cells import cell_len
from rich.console import Console
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence


GAP = 2  # blanks between two columns


def table_lines(
    headings: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int], columns: int
) -> Iterator[str]:
    """Yield the lines of a table `columns` wide at most; `right` numbers columns to the right."""
    table = Table(box=_RULED, padding=(0, 1, 0, 0), show_edge=False, pad_edge=False)
    listed = list(rows)
    widths = _widths([headings, *listed], columns)
    for number, heading in enumerate(headings):
        justify: Literal["left", "right"] = "right" if number in right else "left"
        width = widths[number] if widths else None
        table.add_column(heading, justify=justify, overflow="fold", width=width)
    for row in listed:
        table.add_row(*(Text(cell) for cell in row))
    console = Console(
        file=io.StringIO(), width=columns, highlight=False, markup=False, color_system=None
    )
    with console.capture() as captured:
        console.print(table)
    for line in captured.get().splitlines():
        yield line.rstrip()


def _widths(rows: Sequence[Sequence[str]], columns: int) -> list[int] | None:
    """Return widths at which no word is broken, the widest columns narrowed first; None if none.

    A position such as `grebe/port-thruster/U12` is one word, and stays in one piece.
    """
    cells = list(zip(*rows, strict=True))
    room = columns - GAP * (len(cells) - 1)
    words = [max(map(cell_len, " ".join(column).split()), default=0) for column in cells]
    if sum(words) > room:
        return None
    widths = [min(room, max(map(cell_len, column))) for column in cells]
    while sum(widths) > room:
        able = [number for number, width in enumerate(widths) if width > words[number]]
        widths[max(able, key=widths.__getitem__)] -= 1
    return widths


_RULED = box.Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
"""No lines but one of dashes under the headings."""
