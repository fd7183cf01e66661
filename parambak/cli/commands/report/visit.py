"""`report visit`: the page of one visit."""

from __future__ import annotations

import click

from parambak.cli import faults
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import desk_of, written
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state import select


@parambak_command("visit", example="parambak report visit grebe --out visit.html")
@click.argument("vessel", metavar="VESSEL")
@click.option("--on", metavar="DATE", help="The visit's first day; else the last visit.")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(
    settings: Settings, /, *, vessel: str, on: str | None, out: str, replace: bool
) -> Answer:
    """Write the page of the last visit to VESSEL: differences first."""
    from parambak.reports.visit_page import visit_page  # noqa: PLC0415 - templates, slow to import

    desk = desk_of(settings)
    ship = select.find_vessel(desk.fleet, vessel)
    visits = [each for each in ship.visits if on in (None, each.on)]
    if not visits:
        days = ", ".join(each.on for each in ship.visits[-5:])
        raise faults.NO_VISIT.error(
            vessel=ship.handle, expected=days or "a visit on record", found=on or "none"
        )
    visits.sort(key=lambda each: each.on)  # of one day the one opened last stays last
    return written(desk, visit_page(desk, ship, visits[-1]), out, replace=replace)
