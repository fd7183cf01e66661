"""`rebuild`: the index thrown away and built anew from the records."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted
from parambak.vault.faults import INDEX_REBUILT

if TYPE_CHECKING:
    from parambak.cli.screen import Screen


@parambak_command("rebuild", example="parambak rebuild")
@pass_settings
def command(settings: Settings) -> Answer:
    """Throw the index away and build it anew from the records.

    The index is a cache: every answer is the same before and after. Nothing
    else is changed.
    """
    vault = store.open_vault(settings)
    records = vault.rebuild()
    vessels = len(vault.vessels())
    settings.session.answered.update(f.text for f in vault.warnings if f.code == INDEX_REBUILT)
    return Answer(
        {"records": records, "vessels": vessels},
        lambda screen: _page(screen, records, vessels),
    )


def _page(screen: Screen, records: int, vessels: int) -> None:
    about = counted(vessels, "identity") if vessels == 1 else f"{vessels} identities"
    screen.good(f"The index was built anew: {counted(records, 'record')}, vessels by {about}.")
