"""Tables, drawn by rich: columns that wrap, plain in a pipe."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence


def table_lines(
    headings: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int], columns: int
) -> Iterator[str]:
    """Yield the lines of a table `columns` wide at most; `right` numbers columns to the right."""
    table = Table(box=_RULED, padding=(0, 1, 0, 0), show_edge=False, pad_edge=False)
    for number, heading in enumerate(headings):
        table.add_column(heading, justify="right" if number in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console = Console(
        file=io.StringIO(), width=columns, highlight=False, markup=False, color_system=None
    )
    with console.capture() as captured:
        console.print(table)
    for line in captured.get().splitlines():
        yield line.rstrip()


_RULED = box.Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
"""No lines but one of dashes under the headings."""
