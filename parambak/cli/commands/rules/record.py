"""`rules record`: what a vessel's owner requires before a swap."""

from __future__ import annotations

from pathlib import Path

import click

from parambak.answers import given_files
from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import ParambakError
from parambak.keeping.recording.entries import record_rules
from parambak.keeping.state.rules_file import load_rules
from parambak.vault.files.given import read_given


@parambak_command("record", example="parambak rules record grebe OWNER.TOML --by 'J. Doe'")
@click.argument("vessel", metavar="VESSEL")
@click.argument("file", metavar="FILE")
@click.option("--by", metavar="PERSON", help="Who says so.")
@pass_settings
def command(settings: Settings, /, *, vessel: str, file: str, by: str | None) -> Answer:
    """Keep FILE (TOML) as the ship's rules of VESSEL; they hold from here on."""
    data = read_given(file, given_files.TEXT_BYTES).data
    try:
        rules = load_rules(data)
    except ParambakError as error:
        raise error.in_file(file) from error
    vault = store.open_vault(settings)
    handle = record_rules(vault, vessel=vessel, name=Path(file).name, data=data, by=by)
    return Answer(
        {"vessel": handle, "title": rules.title, "waived": sorted(rules.waived)},
        lambda screen: screen.good(f"The rules of {handle} are on record: {rules.title}."),
        warnings=(*store.warnings_of(vault), *rules.said),
    )
