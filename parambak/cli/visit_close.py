"""`visit close`: the attendance is over."""

from __future__ import annotations

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.visits import close_visit
from parambak.memory.counted import counted


@parambak_command("close", example="parambak visit close --remark 'all thrusters read'")
@click.argument("vessel", metavar="[VESSEL]", required=False)
@click.option("--remark", metavar="TEXT", help="What the next one aboard should know.")
@pass_settings
def command(settings: Settings, vessel: str | None, remark: str | None) -> Answer:
    """Close the open visit, to VESSEL where several are open."""
    vault = store.open_vault(settings)
    handle, visit, reads = close_visit(vault, vessel=vessel, remark=remark)
    word = counted(reads, "read")
    return Answer(
        {"vessel": handle, "on": visit.on, "reads": reads},
        lambda screen: screen.good(f"Visit to {handle} of {visit.on} is closed; {word} on record."),
        warnings=store.warnings_of(vault),
    )
