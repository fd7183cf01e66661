"""`position add`: a position on record before its chip is read."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.position.add import PositionAddQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.chip import chip_option
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.position.add import PositionAddAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "add", example="parambak position add grebe/port-thruster/U12 --chip 28C16 --by 'J. Doe'"
)
@click.argument("where", metavar="VESSEL/UNIT/POSITION")
@chip_option
@click.option("--by", metavar="PERSON", help="Who states it.")
@click.option(
    "--new-position", is_flag=True, help="It is another position, although the names are similar."
)
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Record a position of a unit, before its chip is read.

    The unit must be on record: `unit add` records one.
    """
    return settings.ask(answer, PositionAddQuestion(**options), _page)


def _page(screen: Screen, position: PositionAddAnswer) -> None:
    chip = f", chip {position.chip}" if position.chip is not None else ""
    screen.good(f"On record: {position.where}{chip}.")
    screen.say("Next: read its chip, and keep the dumps with `parambak archive`.")
