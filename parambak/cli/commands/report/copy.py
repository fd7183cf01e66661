"""`report copy`: the page of one copy."""

from __future__ import annotations

import click

from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import desk_of, written
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state import select


@parambak_command("copy", example="parambak report copy grebe/port-thruster/U12 --out U12.html")
@click.argument("copy", metavar="COPY")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(settings: Settings, /, *, copy: str, out: str, replace: bool) -> Answer:
    """Write the page of COPY: identity, reads, conditions, parameters, digests."""
    from parambak.reports.copy_page import copy_page  # noqa: PLC0415 - templates are slow to import

    desk = desk_of(settings)
    position, found = select.find_copy(desk.fleet, copy)
    vessel = select.vessel_at(desk.fleet, position.where)
    unit = next((unit for unit in vessel.units if position in unit.positions), None)
    return written(desk, copy_page(desk, vessel, unit, position, found), out, replace=replace)
