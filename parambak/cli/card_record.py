"""`card record`: what the card of a unit must carry."""

from __future__ import annotations

from pathlib import Path

import click

from parambak.cli import files_in, store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.entries import record_sheet
from parambak.memory.counted import counted


@parambak_command("record", example="parambak card record grebe/port-thruster SHEET.TOML")
@click.argument("where", metavar="VESSEL/UNIT")
@click.argument("sheet", metavar="SHEET")
@click.option("--by", metavar="PERSON", help="Who filled it in.")
@pass_settings
def command(settings: Settings, where: str, sheet: str, by: str | None) -> Answer:
    """Keep SHEET (TOML, any entries) as the card sheet of a unit."""
    data, entries = files_in.sheet_file(sheet)
    vault = store.open_vault(settings)
    unit = record_sheet(vault, where=where, name=Path(sheet).name, data=data, by=by)
    return Answer(
        {"where": unit.where, "entries": len(entries)},
        lambda screen: screen.good(
            f"The card sheet of {unit.where} is on record: "
            f"{counted(len(entries), 'entry', 'entries')}."
        ),
        warnings=store.warnings_of(vault),
    )
