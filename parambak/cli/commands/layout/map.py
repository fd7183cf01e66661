"""`layout map`: what of a memory a layout covers, by what, and what it does not."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.cli.screen import Screen
    from parambak.layouts.model import Layout

GAPS_SHOWN = 40


@parambak_command("map", example="parambak layout map shared/layouts/thruster.toml", vault=False)
@click.argument("file", metavar="FILE")
def command(file: str) -> Answer:
    """Show which bytes a layout FILE covers, by what, and which it does not."""
    from parambak.layouts import coverage  # noqa: PLC0415 - once the call is right
    from parambak.layouts.coverage import CHARACTERS, parts, picture  # noqa: PLC0415 - the same

    layout = given_files.layout_file(file).layout
    found = parts(layout)
    drawn = picture(layout)
    document: dict[str, Any] = {
        "title": layout.title,
        "covered_bytes": coverage.covered_bytes(layout),
        "size": layout.memory,
        "gaps": [{"start": r.start, "length": r.length} for r in coverage.gaps(layout)],
        "parts": [
            {
                "name": part.name,
                "kind": part.kind,
                "start": part.start,
                "length": part.length,
                "rows": part.rows,
            }
            for part in found
        ],
        "picture": [{"start": row.start, "cells": row.cells} for row in drawn],
        "bytes_a_cell": drawn[0].bytes_a_cell,
        "legend": dict(CHARACTERS),
    }
    return Answer(document, lambda screen: _page(screen, layout, document))


def _page(screen: Screen, layout: Layout, document: dict[str, Any]) -> None:
    revision = f", revision {layout.revision}" if layout.revision else ""
    screen.heading(f"{layout.title}{revision}")
    screen.say()
    digits = max(4, len(f"{layout.memory - 1:X}"))
    for line in _picture(document["picture"], digits):
        screen.say(line)
    screen.say()
    size = document["bytes_a_cell"]
    screen.facts(document["legend"].items())
    if size > 1:
        screen.say(f"Each character is {size} bytes, and shows the last of these that applies.")
    screen.say()
    screen.table(("addresses", "what", "kind"), [_row(part, digits) for part in document["parts"]])
    screen.say()
    gaps = document["gaps"]
    for gap in gaps[:GAPS_SHOWN]:
        length = counted(gap["length"], "byte")
        screen.say(f"NOT COVERED  {_addresses(gap, digits)}, {length}", indent=2)
    if len(gaps) > GAPS_SHOWN:
        screen.say(f"and {len(gaps) - GAPS_SHOWN} gaps more; --json gives them all.", indent=2)
    answer = f"{document['covered_bytes']} of {document['size']} bytes are covered."
    if gaps:
        screen.mind(answer)
    else:
        screen.good(answer)


def _picture(rows: list[dict[str, Any]], digits: int) -> Iterator[str]:
    """Yield the lines of the picture; three or more that are alike as the first and a word."""
    for cells, group in groupby(rows, key=lambda row: str(row["cells"])):
        alike = list(group)
        shown = alike if len(alike) < 3 else alike[:1]
        yield from (f"0x{row['start']:0{digits}X}  {cells}" for row in shown)
        if shown != alike:
            yield f"{' ' * (digits + 4)}the same to the row of 0x{alike[-1]['start']:0{digits}X}"


def _row(part: dict[str, Any], digits: int) -> tuple[str, ...]:
    kind = part["kind"] if part["rows"] is None else f"group of {part['rows']}"
    return _addresses(part, digits), part["name"], kind


def _addresses(stretch: dict[str, Any], digits: int) -> str:
    first, last = stretch["start"], stretch["start"] + stretch["length"] - 1
    start = f"0x{first:0{digits}X}"
    return start if first == last else f"{start}-0x{last:0{digits}X}"
