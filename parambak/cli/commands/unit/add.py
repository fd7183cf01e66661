"""`unit add`: a unit on record before any of its chips is read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.unit.add import UnitAddQuestion
from parambak.cli.command import asks

if TYPE_CHECKING:
    from parambak.answers.unit.add import UnitAddAnswer
    from parambak.cli.screen import Screen


@asks(
    UnitAddQuestion,
    example="parambak unit add grebe/port-thruster --maker-type 'TC-4' --by 'J. Doe'",
)
@click.argument("where", metavar="VESSEL/UNIT")
@click.option("--display-name", "display", metavar="TEXT", help="A display name, any text.")
@click.option("--maker-type", metavar="TEXT", help="The maker's type, as text.")
@click.option("--serial", metavar="TEXT", help="The serial number.")
@click.option("--installed-in", metavar="TEXT", help="The room or area that it is installed in.")
@click.option("--by", metavar="PERSON", help="Who states it.")
@click.option("--new-vessel", is_flag=True, help="The vessel is new: it is not on record yet.")
@click.option(
    "--new-unit", is_flag=True, help="It is another unit, although the names are similar."
)
def command(screen: Screen, unit: UnitAddAnswer) -> None:
    """Record a unit of a vessel, before any of its chips is read."""
    screen.good(f"On record: {unit.where} ({', '.join(unit.made)}).")
    screen.say(
        f"Next: record a position with `parambak position add {unit.where}/POSITION`, or archive a "
        "read of its chip."
    )
