"""`place add`: a second folder, stick or server that holds the same."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import place as common
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.backups import add_backup
from parambak.vault.locations.address import parse
from parambak.vault.locations.faults import PACKED_ELSEWHERE

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.backups import BackupLocation


@parambak_command("add", example="parambak place add red-stick /media/red/parambak --vessel grebe")
@click.argument("name", metavar="NAME")
@click.argument("address", metavar="ADDRESS")
@click.option(
    "--vessel", "vessels", multiple=True, metavar="VESSEL", help="This one only; again for more."
)
@click.option("--packed", is_flag=True, help="One pack for each vessel, as suits a stick with FAT.")
@click.option(
    "--merge", is_flag=True, help="Another vault that is there is kept together with this."
)
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    name: str,
    address: str,
    vessels: tuple[str, ...],
    packed: bool,
    merge: bool,
) -> Answer:
    """Add a place that shall hold the same as the vault, or some vessels of it.

    ADDRESS is a folder, sftp://USER@HOST/PATH, or a URL of fsspec's. NAME goes along with
    the records of the vessels sent there; the address does not. `place send` fills it.
    """
    address = common.whole(settings, address)
    if packed and parse(address).scheme:
        raise PACKED_ELSEWHERE.error(file=address, expected="a folder", found="a server or store")
    vault = store.open_vault(settings)
    with common.opened(address, vault) as there:
        place = add_backup(
            vault, there, name=name, address=address, vessels=vessels, packed=packed, merge=merge
        )
    return Answer(
        common.document(vault, place),
        lambda screen: _page(screen, place, common.vessels_of(vault, place)),
        warnings=(*store.warnings_of(vault), *_advice(settings, place)),
    )


def _advice(settings: Settings, place: BackupLocation) -> list[str]:
    """Return what speaks against this place, without standing in its way."""
    path = parse(place.address)
    if path.scheme:
        return []
    from parambak.vault.files.file_system import has_fat  # noqa: PLC0415 - only for a folder

    folder = Path(path.path)
    notes = []
    if folder.stat().st_dev == settings.vault_folder.stat().st_dev:
        notes.append("this place is on the same disk as the vault, and is lost together with it")
    if not place.packed and has_fat(folder):
        notes.append(
            "this stick has FAT, where each small file takes a whole cluster: one pack for each "
            f"vessel takes far less; for that, `parambak place remove {place.handle}`, and add "
            "another folder on it with --packed"
        )
    return notes


def _page(screen: Screen, place: BackupLocation, vessels: list[str] | None) -> None:
    what = "all vessels" if vessels is None else ", ".join(vessels)
    screen.good(f"{place.handle} is a place for {what}.")
    screen.say(f"Fill it with `parambak place send {place.handle}`.")
