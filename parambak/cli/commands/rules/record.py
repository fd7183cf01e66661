"""`rules record`: what a vessel's owner requires before a swap."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.rules.record import RulesRecordQuestion
from parambak.cli.command import asks

if TYPE_CHECKING:
    from parambak.answers.rules.record import RulesRecordAnswer
    from parambak.cli.screen import Screen


@asks(RulesRecordQuestion, example="parambak rules record grebe OWNER.TOML --by 'J. Doe'")
@click.argument("vessel", metavar="VESSEL")
@click.argument("file", metavar="FILE")
@click.option("--by", metavar="PERSON", help="Who states it.")
def command(screen: Screen, kept: RulesRecordAnswer) -> None:
    """Keep FILE (TOML) as the ship's rules of VESSEL, which apply from now on."""
    screen.good(f"The rules of {kept.vessel} are on record: {kept.title}.")
