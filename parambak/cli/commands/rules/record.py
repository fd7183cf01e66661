"""`rules record`: what a vessel's owner requires before a swap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.rules.record import RulesRecordQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.rules.record import RulesRecordAnswer
    from parambak.cli.screen import Screen


@parambak_command("record", example="parambak rules record grebe OWNER.TOML --by 'J. Doe'")
@click.argument("vessel", metavar="VESSEL")
@click.argument("file", metavar="FILE")
@click.option("--by", metavar="PERSON", help="Who states it.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Keep FILE (TOML) as the ship's rules of VESSEL, which apply from now on."""
    return settings.ask(answer, RulesRecordQuestion(**options), _page)


def _page(screen: Screen, kept: RulesRecordAnswer) -> None:
    screen.good(f"The rules of {kept.vessel} are on record: {kept.title}.")
