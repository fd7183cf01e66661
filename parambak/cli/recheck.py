"""`recheck`: every object and record of the vault hashed again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.bodies import RecheckBody
from parambak.keeping.fold import fleet
from parambak.vault.recheck import Damage, Rechecked, recheck

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.vault.vault import Vault


@parambak_command("recheck", example="parambak recheck")
@pass_settings
def command(settings: Settings) -> Answer:
    """Hash every object and record again, and say what is damaged."""
    vault = store.open_vault(settings)
    with Progress(quiet=settings.json) as progress:
        found = _with_bodies(vault, recheck(vault, progress))
    note = _put_on_record(vault, found)
    return Answer(
        {
            "objects": found.objects,
            "records": found.records,
            "damaged": [{"file": each.file, "text": each.text} for each in found.damaged],
        },
        lambda screen: _page(screen, found, noted=bool(store.warnings_of(vault))),
        exit_code=3 if found.damaged else 0,
        warnings=(*store.warnings_of(vault), *note),
    )


def _put_on_record(vault: Vault, found: Rechecked) -> tuple[str, ...]:
    """Keep the date of a full recheck; a vault that cannot be written only says so."""
    from parambak.errors import VaultDamaged, VaultRefused  # noqa: PLC0415 - used once

    body = RecheckBody(objects=found.objects, records=found.records, damaged=len(found.damaged))
    try:
        with vault.writing() as writing:
            writing.add("recheck", None, body.members())
    except (VaultRefused, VaultDamaged) as error:
        return (f"the recheck is not on record: {error.text}",)
    return ()


def _with_bodies(vault: Vault, found: Rechecked) -> Rechecked:
    """Add the records whose body tells nothing, though their bytes are sound."""
    known = {each.file for each in found.damaged}
    more = [Damage(file, text) for file, text in fleet(vault).damaged if file not in known]
    return found._replace(damaged=(*found.damaged, *more))


def _page(screen: Screen, found: Rechecked, *, noted: bool) -> None:
    screen.say(f"{found.objects} objects and {found.records} records were hashed again.")
    for each in found.damaged:
        screen.say(f"DAMAGED {each.file}: {each.text}", indent=2)
    if found.damaged:
        screen.bad(f"The vault is damaged in {len(found.damaged)} places.")
        screen.say(
            "Do not delete anything. Fetch the same files, named above, from another copy of "
            "this vault, and run recheck again."
        )
    elif noted:
        screen.mind("Every file is sound in itself; but see the notes about the vault as a whole.")
    else:
        screen.good("All sound.")
