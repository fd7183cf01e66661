"""`unpack`: a pack merged into the vault."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.unpack import UnpackQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.unpack import UnpackAnswer
    from parambak.cli.screen import Screen


@asks(UnpackQuestion, example="parambak unpack grebe.zip")
@click.argument("file", metavar="FILE")
def command(screen: Screen, joined: UnpackAnswer) -> None:
    """Merge a FILE that `pack` wrote into the vault; nothing in the vault is lost.

    Every file is checked first. A missing or empty folder becomes a vault.
    """
    for name in sorted({vessel.name for vessel in joined.vessels}):
        screen.say(f"vessel {name}", indent=2)
    for file in joined.repaired:
        screen.say(f"repaired {file}", indent=2)
    for refused in joined.refused:
        screen.say(f"REFUSED {refused.file}: {refused.text}", indent=2)
    what = (
        f"{counted(joined.records, 'record')} and {counted(joined.objects, 'file')} came in"
        if joined.added
        else "Everything that could be taken was in the vault already"
    )
    if joined.refused:
        screen.bad(f"{what}; {counted(len(joined.refused), 'file')} could not be taken.")
        screen.say("Do next: ask for the pack again, and unpack that one too.")
    else:
        screen.good(f"{what}.")
