"""`pack`: whole vessels as one file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.packs import pack
from parambak.memory.counted import counted
from parambak.vault.faults import RECORD_SKIPPED
from parambak.vault.files.given import refuse_within
from parambak.vault.packs.reading import PackFile

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.vault.packs.reading import WrittenPack
    from parambak.vault.vault import Vault


@parambak_command("pack", example="parambak pack grebe --out grebe.zip")
@click.argument("vessels", metavar="VESSEL…", nargs=-1, required=True)
@click.option("--out", metavar="FILE", required=True, help="The file to write.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(settings: Settings, vessels: tuple[str, ...], out: str, *, replace: bool) -> Answer:
    """Write everything about each VESSEL into FILE, for another vault to unpack.

    Nothing of other vessels goes along. The file is read back before it has its name.
    """
    vault = store.open_vault(settings)
    refuse_within(out, settings.vault_folder)
    with Progress(quiet=settings.json, doing="packing") as progress:
        written, handles = pack(vault, vessels, PackFile(Path(out)), progress, replace=replace)
    packed = written.packed
    return Answer(
        {
            "file": out,
            "sha256": written.sha256,
            "size": packed.bytes,
            "vessels": list(handles),
            "sent": packed.objects + packed.records,
            "objects": packed.objects,
            "records": packed.records,
            "refused": [],
        },
        lambda screen: _page(screen, out, written, handles),
        warnings=(*store.warnings_of(vault), *unknown_records(vault)),
    )


def unknown_records(vault: Vault) -> tuple[str, ...]:
    """Warn where the vault has a damaged record, since nobody knows which vessel it is about."""
    text = (
        "a damaged record may be about a vessel that was packed, and is in no pack: run "
        "`parambak recheck`"
    )
    skipped = any(finding.code == RECORD_SKIPPED for finding in vault.warnings)
    return (text,) if skipped else ()


def _page(screen: Screen, out: str, written: WrittenPack, handles: tuple[str, ...]) -> None:
    packed = written.packed
    inside = f"{counted(packed.records, 'record')} and {counted(packed.objects, 'object')}"
    screen.facts(
        [
            ("vessels", ", ".join(handles)),
            ("file", f"{Path(out).name}, {packed.bytes} bytes"),
            ("SHA-256", written.sha256),
        ],
        indent=0,
    )
    screen.good(f"Packed whole: {inside}, read back.")
