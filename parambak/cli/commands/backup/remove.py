"""`backup remove`: a backup location is removed by a new record; nothing in it changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.backup.remove import BackupRemoveQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.backup.remove import BackupRemoveAnswer
    from parambak.cli.screen import Screen


@parambak_command("remove", example="parambak backup remove red-stick")
@click.argument("name", metavar="NAME")
@pass_settings
def command(settings: Settings, /, name: str) -> Answer:
    """Remove a backup location: nothing more is sent there, and what it holds no longer counts.

    Its contents stay there. `backup add` with its address adds it again.
    """
    return settings.ask(answer, BackupRemoveQuestion(name=name), _page)


def _page(screen: Screen, removed: BackupRemoveAnswer) -> None:
    screen.good(f"{removed.location} is removed. Its contents were not changed.")
