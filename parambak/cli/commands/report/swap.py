"""`report swap`: the page of the swap that was opened last at a position."""

from __future__ import annotations

import click

from parambak.cli import faults
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import desk_of, written
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state import select
from parambak.swap.swaps import swaps_at


@parambak_command("swap", example="parambak report swap grebe/port-thruster/U12 --out swap.html")
@click.argument("where", metavar="WHERE")
@click.option("--out", metavar="FILE", required=True, help="The HTML file to write.")
@click.option("--number", type=click.IntRange(min=1), help="Which swap there, counted from 1.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(
    settings: Settings, /, *, where: str, out: str, number: int | None, replace: bool
) -> Answer:
    """Write the page of the swap at WHERE that was opened last, whether it is over or not."""
    from parambak.reports.swap_page import swap_page  # noqa: PLC0415 - templates are slow to import

    desk = desk_of(settings)
    position = select.find_position(desk.fleet, where)
    vessel = select.vessel_at(desk.fleet, where)
    found = swaps_at(desk.assessor.vault, vessel, position)
    if not found or (number or 1) > len(found):
        raise faults.NO_SWAP.error(
            where=position.where, expected="a swap", found=f"{len(found)} on record"
        )
    swap = found[(number or len(found)) - 1]
    return written(desk, swap_page(desk, position.where, swap), out, replace=replace)
