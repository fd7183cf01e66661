"""`visit open`: who attends which vessel, so that it need not be typed again."""

from __future__ import annotations

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings, past_day
from parambak.keeping.recording.visits import open_visit


@parambak_command("open", example="parambak visit open grebe --by 'J. Doe' --reader 'bench 2'")
@click.argument("vessel", metavar="VESSEL")
@click.option("--by", metavar="PERSON", help="Who attends.")
@click.option("--reader", metavar="TEXT", help="The reader that is used.")
@click.option("--on", metavar="DATE", help="The day, such as 2026-03-01; else today.")
@click.option("--new-vessel", is_flag=True, help="It is another ship, though the name is near.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    vessel: str,
    by: str | None,
    reader: str | None,
    on: str | None,
    new_vessel: bool,
) -> Answer:
    """Open a visit to VESSEL; `archive` then knows vessel, person and reader."""
    day = past_day(settings, on) if on else settings.clock().date().isoformat()
    vault = store.open_vault(settings, create=True)
    handle, new = open_visit(
        vault, vessel=vessel, on=day, by=by, reader=reader, confirmed=new_vessel
    )
    known = "a new vessel" if new else "known already"
    return Answer(
        {"vessel": handle, "on": day, "new_vessel": new},
        lambda screen: screen.good(f"Visit to {handle} ({known}) is open since {day}."),
        warnings=store.warnings_of(vault),
    )
