"""`layout draft`: a commented first layout for a memory of a given size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.layout.draft import LayoutDraftQuestion
from parambak.cli.command import asks
from parambak.cli.parts.chip import chip_option
from parambak.layouts.model import MOST_MEMORY

if TYPE_CHECKING:
    from parambak.answers.layout.draft import LayoutDraftAnswer
    from parambak.cli.screen import Screen


@asks(
    LayoutDraftQuestion, example="parambak layout draft --chip 28C64 --out winch.toml", vault=False
)
@click.option(
    "--memory", type=click.IntRange(1, MOST_MEMORY), metavar="BYTES", help="The memory's size."
)
@chip_option
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, drafted: LayoutDraftAnswer) -> None:
    """Write a first layout, with examples as comments, for you to complete."""
    screen.say(
        f"A first layout for {drafted.memory} bytes is in {drafted.file}. It has no field yet."
    )
    screen.say(
        "Open it in any editor. To use an example, remove the # before its lines. "
        "formats/writing-a-layout.md explains the rest in ten minutes."
    )
    screen.good(f"Written. Check it with: parambak layout check {drafted.file}")
