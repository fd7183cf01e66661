"""`layout map`: which bytes of a memory a layout covers, and with what."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import click

from parambak.answers.layout.map import LayoutMapQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.answers.layout.map import LayoutMapAnswer, MapEntry, MapRow
    from parambak.cli.screen import Screen

GAPS_SHOWN = 40


@asks(LayoutMapQuestion, example="parambak layout map shared/layouts/thruster.toml", vault=False)
@click.argument("file", metavar="FILE")
def command(screen: Screen, drawn: LayoutMapAnswer) -> None:
    """Show which bytes a layout FILE covers, with what, and which it does not cover."""
    revision = f", revision {drawn.revision}" if drawn.revision else ""
    screen.heading(f"{drawn.title}{revision}")
    screen.say()
    digits = max(4, len(f"{drawn.size - 1:X}"))
    for line in _picture(drawn.picture, digits):
        screen.say(line)
    screen.say()
    size = drawn.bytes_a_cell
    screen.facts(drawn.legend.items())
    if size > 1:
        screen.say(f"Each character is {size} bytes, and shows the last of these that applies.")
    screen.say()
    screen.table(("addresses", "what", "kind"), [_row(entry, digits) for entry in drawn.parts])
    screen.say()
    gaps = drawn.gaps
    for gap in gaps[:GAPS_SHOWN]:
        length = counted(gap.length, "byte")
        screen.say(f"NOT COVERED  {_addresses(gap.start, gap.length, digits)}, {length}", indent=2)
    if len(gaps) > GAPS_SHOWN:
        screen.say(f"and {len(gaps) - GAPS_SHOWN} more gaps; --json gives all of them.", indent=2)
    covered = f"{drawn.covered_bytes} of {drawn.size} bytes are covered."
    (screen.warn if gaps else screen.good)(covered)


def _picture(rows: Sequence[MapRow], digits: int) -> Iterator[str]:
    """Yield the lines of the picture; three or more that are the same as the first and a note."""
    for cells, group in groupby(rows, key=lambda row: row.cells):
        same = list(group)
        shown = same if len(same) < 3 else same[:1]
        yield from (f"0x{row.start:0{digits}X}  {cells}" for row in shown)
        if shown != same:
            yield f"{' ' * (digits + 4)}the same to the row of 0x{same[-1].start:0{digits}X}"


def _row(entry: MapEntry, digits: int) -> tuple[str, ...]:
    kind = entry.kind if entry.rows is None else f"group of {entry.rows}"
    return _addresses(entry.start, entry.length, digits), entry.name, kind


def _addresses(first: int, length: int, digits: int) -> str:
    start, last = f"0x{first:0{digits}X}", first + length - 1
    return start if first == last else f"{start}-0x{last:0{digits}X}"
