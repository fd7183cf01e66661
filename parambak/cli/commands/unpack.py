"""`unpack`: a pack merged into the vault."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.packs import take_pack
from parambak.memory.counted import counted
from parambak.vault.packs.reading import PackFile

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.recording.packs import TakenPack


@parambak_command("unpack", example="parambak unpack grebe.zip")
@click.argument("file", metavar="FILE")
@pass_settings
def command(settings: Settings, file: str) -> Answer:
    """Merge a FILE that `pack` wrote into the vault; nothing in the vault is lost by it.

    Every file is hashed first. A missing or empty folder becomes a vault.
    """
    vault = store.open_vault(settings, create=True)
    with Progress(quiet=settings.json) as progress:
        taken = take_pack(vault, PackFile(Path(file)), progress)
    joined = taken.joined
    return Answer(
        _document(taken),
        lambda screen: _page(screen, taken),
        exit_code=1 if joined.refused else 0,
        warnings=(
            *store.warnings_of(vault),
            *(store.namesakes(vault) if joined.added_records else ()),
        ),
    )


def _document(taken: TakenPack) -> dict[str, Any]:
    joined = taken.joined
    return {
        "vessels": [{"id": each, "name": name} for each, name in sorted(taken.vessels.items())],
        "added": joined.added_objects + joined.added_records,
        "objects": joined.added_objects,
        "records": joined.added_records,
        "healed": list(joined.healed),
        "refused": [{"file": each.file, "text": each.text} for each in joined.refused],
    }


def _page(screen: Screen, taken: TakenPack) -> None:
    joined = taken.joined
    for name in sorted(set(taken.vessels.values())):
        screen.say(f"vessel {name}", indent=2)
    for file in joined.healed:
        screen.say(f"healed {file}", indent=2)
    for each in joined.refused:
        screen.say(f"REFUSED {each.file}: {each.text}", indent=2)
    added = joined.added_objects + joined.added_records
    what = (
        f"{counted(joined.added_records, 'record')} and {counted(joined.added_objects, 'object')} "
        "came in"
        if added
        else "All that could be taken was in the vault already"
    )
    if joined.refused:
        screen.bad(f"{what}; {counted(len(joined.refused), 'file')} could not be taken.")
        screen.say("Do next: ask for the pack again, and unpack that one too.")
    else:
        screen.good(f"{what}.")
