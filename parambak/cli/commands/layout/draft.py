"""`layout draft`: a commented first layout for a memory of which only the size is known."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer

if TYPE_CHECKING:
    from parambak.cli.screen import Screen

MOST_MEMORY = 16 * 1024 * 1024


@parambak_command(
    "draft", example="parambak layout draft --chip 28C64 --out winch.toml", vault=False
)
@click.option(
    "--memory", type=click.IntRange(1, MOST_MEMORY), metavar="BYTES", help="The memory's size."
)
@click.option("--chip", metavar="PART", help="The chip, such as 28C64, in place of a size.")
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
def command(memory: int | None, chip: str | None, out: str, replace: bool) -> Answer:  # noqa: FBT001 - click passes flags so
    """Write a first layout, its examples as comments, for you to go on with."""
    from parambak.layouts.draft import draft  # noqa: PLC0415 - once the call is right
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - the same

    if (memory is None) == (chip is None):
        raise faults.DRAFT_SIZE.error(
            expected="one of the two", found="neither" if memory is None else "both"
        )
    part = None if chip is None else store.chip_named(store.chip_table(), chip)
    size = memory if part is None else part.size
    text = draft(size or 0, None if part is None else part.name)
    write_export(Path(out), text.encode(), replace=replace)
    return Answer({"file": out, "memory": size}, lambda screen: _page(screen, out, size or 0))


def _page(screen: Screen, out: str, size: int) -> None:
    screen.say(f"A first layout for {size} bytes is in {out}. It explains nothing yet.")
    screen.say(
        "Open it in any editor: each example in it becomes part of the layout when the # before "
        "its lines is taken away. formats/writing-a-layout.md teaches the rest in ten minutes."
    )
    screen.good(f"Written. Look at it with: parambak layout check {out}")
