"""`recheck`: every object and record of the vault hashed again."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.bodies import RecheckBody
from parambak.keeping.fold import fleet
from parambak.vault.recheck import Damage, Rechecked, recheck

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.cli.screen import Screen
    from parambak.vault.vault import Vault


@parambak_command("recheck", example="parambak recheck")
@pass_settings
def command(settings: Settings) -> Answer:
    """Hash every object and record again, and say what is damaged."""
    vault = store.open_vault(settings)
    with _Progress(quiet=settings.json) as progress:
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


def _silent(done: int, total: int) -> None:
    """Take progress and show nothing."""
    del done, total


class _Progress:
    """A line of progress on a terminal; nothing in a pipe or with --json."""

    def __init__(self, *, quiet: bool) -> None:
        self._shown = not quiet and sys.stderr.isatty()

    def __enter__(self) -> Callable[[int, int], None]:
        if not self._shown:
            return _silent
        from rich.console import Console  # noqa: PLC0415 - only on a terminal
        from rich.progress import Progress  # noqa: PLC0415 - the same

        self._progress = Progress(console=Console(stderr=True), transient=True)
        self._progress.start()
        task = self._progress.add_task("hashing", total=None)
        return lambda done, total: self._progress.update(task, completed=done, total=total)

    def __exit__(self, *_: object) -> None:
        if self._shown:
            self._progress.stop()
