"""`pack`: whole vessels as one file."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

import click

from parambak.answers.pack import PackQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.pack import PackAnswer
    from parambak.cli.screen import Screen


@asks(PackQuestion, example="parambak pack grebe --out grebe.zip")
@click.argument("vessels", metavar="VESSEL…", nargs=-1, required=True)
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
def command(screen: Screen, packed: PackAnswer) -> None:
    """Write everything about each VESSEL into FILE, for another vault to unpack.

    Nothing of other vessels is included. The file is read back before it gets its name.
    """
    inside = f"{counted(packed.records, 'record')} and {counted(packed.objects, 'file')}"
    screen.facts(
        [
            ("vessels", ", ".join(packed.vessels)),
            ("file", f"{PurePath(packed.file).name}, {packed.size} bytes"),
            ("SHA-256", packed.sha256),
        ],
        indent=0,
    )
    screen.good(f"Packed whole: {inside}, read back.")
