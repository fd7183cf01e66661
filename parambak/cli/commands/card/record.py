"""`card record`: what the card of a unit must carry, or what one card carries."""

from __future__ import annotations

from pathlib import Path

import click

from parambak.answers import given_files
from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.cards import record_sheet
from parambak.memory.counted import counted


@parambak_command("record", example="parambak card record grebe/port-thruster SHEET.TOML")
@click.argument("where", metavar="WHERE")
@click.argument("sheet", metavar="SHEET")
@click.option("--by", metavar="PERSON", help="Who filled it in.")
@pass_settings
def command(settings: Settings, where: str, sheet: str, by: str | None) -> Answer:
    """Keep SHEET (TOML) as the card sheet of a unit, or of one card.

    WHERE is VESSEL/UNIT, for what its card must carry, or VESSEL/card:SERIAL, for what that
    card carries. `card blank` gives a sheet to fill in.
    """
    data, stated = given_files.sheet_file(sheet)
    vault = store.open_vault(settings)
    name = Path(sheet).name
    kept = record_sheet(vault, where=where, name=name, data=data, by=by, target=stated.target)
    count = len(stated.entries)
    nothing = () if count else ("the sheet states nothing: every line of it is a comment",)
    return Answer(
        {"where": kept.where, "entries": count},
        lambda screen: screen.good(
            f"The card sheet of {kept.where} is on record: {counted(count, 'entry', 'entries')}."
        ),
        warnings=(*store.warnings_of(vault), *nothing),
    )
