"""`migrate`: a vault of an older format carried over into a new one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted
from parambak.vault.migrate import carry_over
from parambak.vault.versions import PRESENT

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.vault.joining import Joined


@parambak_command("migrate", example="parambak migrate --to new-vault")
@click.option(
    "--to", "folder", metavar="FOLDER", required=True, help="A new folder for the new vault."
)
@pass_settings
def command(settings: Settings, folder: str) -> Answer:
    """Carry a vault of an older format over into a new vault beside it.

    Every object and record is copied as it is, each hashed on the way. The old
    folder is not touched. A vault of the present format needs none of this.
    """
    old = store.open_vault(settings)
    if old.older is None:
        text = f"This vault has format {PRESENT}, the present one: there is nothing to carry over."
        return Answer(
            {"carried": False, "format": PRESENT, "vault": str(old.root)},
            lambda screen: screen.good(text),
            warnings=store.warnings_of(old),
        )
    own, cache = settings.own_folder, settings.cache_folder
    new, joined = carry_over(old, Path(folder), own=own, clock=settings.clock, cache=cache)
    whole = not joined.missing and not joined.refused
    return Answer(
        {
            "carried": True,
            "format": PRESENT,
            "vault": str(new.root),
            "objects": joined.added_objects,
            "records": joined.added_records,
            "missing": list(joined.missing),
            "refused": [{"file": each.file, "text": each.text} for each in joined.refused],
        },
        lambda screen: _page(screen, str(new.root), joined),
        exit_code=0 if whole else 1,
        warnings=store.warnings_of(old),
    )


def _page(screen: Screen, folder: str, joined: Joined) -> None:
    objects = counted(joined.added_objects, "object")
    records = counted(joined.added_records, "record")
    screen.say(f"{objects} and {records} were carried over into {folder}.")
    for each in joined.refused:
        screen.say(f"REFUSED {each.file}: {each.text}", indent=2)
    for file in joined.missing:
        screen.say(f"MISSING {file}", indent=2)
    if joined.missing or joined.refused:
        screen.bad("All that is sound was carried over; what is named above was not.")
    else:
        screen.good("All of it was carried over.")
    screen.say(
        "Do next: run recheck on the new vault, and keep the old folder until it answers that all "
        "is sound."
    )
