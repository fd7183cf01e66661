"""`place remove`: a place is given up, as a new record; nothing in it is touched."""

from __future__ import annotations

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import place as common
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.backups import remove_backup


@parambak_command("remove", example="parambak place remove red-stick")
@click.argument("name", metavar="NAME")
@pass_settings
def command(settings: Settings, /, name: str) -> Answer:
    """Give a place up: it is sent to no more, and what it holds counts no more.

    What is in it stays there. `place add` with its address takes it up again.
    """
    vault = store.open_vault(settings)
    place = remove_backup(vault, name)
    return Answer(
        common.document(vault, place),
        lambda screen: screen.good(f"{place.handle} is given up; what is in it was not touched."),
        warnings=store.warnings_of(vault),
    )
