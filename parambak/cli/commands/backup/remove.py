"""`backup remove`: a backup location is removed by a new record; nothing in it changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.backup.remove import BackupRemoveQuestion
from parambak.cli.command import asks

if TYPE_CHECKING:
    from parambak.answers.backup.remove import BackupRemoveAnswer
    from parambak.cli.screen import Screen


@asks(BackupRemoveQuestion, example="parambak backup remove red-stick")
@click.argument("name", metavar="NAME")
def command(screen: Screen, removed: BackupRemoveAnswer) -> None:
    """Remove a backup location: nothing more is sent there, and what it holds no longer counts.

    Its contents stay there. `backup add` with its address adds it again.
    """
    screen.good(f"{removed.location} is removed. Its contents were not changed.")
