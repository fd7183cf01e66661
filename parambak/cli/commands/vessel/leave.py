"""`vessel leave`: a ship sold or a customer lost, packed and removed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.screen import Screen
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.leaving import find_leaving, leave
from parambak.memory.counted import counted
from parambak.vault.files.given import refuse_within
from parambak.vault.packs.reading import PackFile

if TYPE_CHECKING:
    from parambak.keeping.recording.leaving import Gone, Leaving


@parambak_command(
    "leave", example="parambak vessel leave grebe --out grebe.zip --why 'sold to a new owner'"
)
@click.argument("vessel", metavar="VESSEL")
@click.option("--out", metavar="FILE", required=True, help="The pack to write.")
@click.option("--why", metavar="TEXT", required=True, help="Why it leaves, for the record.")
@click.option("--by", metavar="PERSON", help="Who lets it leave.")
@click.option(
    "--leaving", metavar="NAME", help="The vessel's name once more, instead of being asked."
)
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    vessel: str,
    out: str,
    why: str,
    by: str | None,
    leaving: str | None,
) -> Answer:
    """Write everything about VESSEL into FILE, then remove it from the vault.

    The pack is read back first. Merges do not bring the vessel back; `unpack --bring-back`
    does. Broken off, it goes on when it is called again with the same FILE.
    """
    vault = store.open_vault(settings)
    refuse_within(out, settings.vault_folder)
    found = find_leaving(vault, vessel)
    _confirm(settings, found, leaving)
    with Progress(quiet=settings.json, doing="packing") as progress:
        gone = leave(vault, found, PackFile(Path(out)), progress, why=why, by=by)
    return Answer(
        {
            "vessel": found.handle,
            "file": out,
            "sha256": gone.pack_sha256,
            "sent": gone.records + gone.objects,
            "records": gone.records,
            "objects": gone.objects,
            "removed": gone.removed,
            "kept": gone.kept,
            "refused": [],
        },
        lambda screen: _page(screen, found, out, gone),
        warnings=store.warnings_of(vault),
    )


def _confirm(settings: Settings, found: Leaving, leaving: str | None) -> None:
    """Have a person type the vessel's name, or raise CallRefused."""
    typed = leaving
    if typed is None and not settings.json and sys.stdin.isatty():
        screen = Screen(stderr=True)
        what = counted(found.records, "record")
        screen.mind(
            f"Vessel {found.handle} leaves this vault: {what}, and all that only these need."
        )
        screen.say("They are packed first. Type the vessel's name to go on.")
        typed = click.prompt("vessel", default="", show_default=False, err=True).strip()
    names = {found.handle.casefold(), found.short.casefold()}
    if typed is None or typed.casefold() not in names:
        found_text = "no name" if typed is None else repr(typed[:80])
        raise faults.LEAVE_UNCONFIRMED.error(expected=found.handle, found=found_text)


def _page(screen: Screen, found: Leaving, out: str, gone: Gone) -> None:
    inside = f"{counted(gone.records, 'record')} and {counted(gone.objects, 'object')}"
    screen.facts([("pack", Path(out).name), ("SHA-256", gone.pack_sha256)], indent=0)
    screen.say(f"In the pack: {inside}. Removed from here: {counted(gone.removed, 'file')}.")
    if gone.kept:
        screen.say(f"Something else here needs {counted(gone.kept, 'object')} too; kept.")
    screen.good(f"Vessel {found.handle} has left this vault.")
    screen.say("Places and other copies of the vault keep what they have of it.")
