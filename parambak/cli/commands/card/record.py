"""`card record`: what the card of a unit must carry, or what one card carries."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.card.record import CardRecordQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.card.record import CardRecordAnswer
    from parambak.cli.screen import Screen


@parambak_command("record", example="parambak card record grebe/port-thruster SHEET.TOML")
@click.argument("where", metavar="WHERE")
@click.argument("sheet", metavar="SHEET")
@click.option("--by", metavar="PERSON", help="Who filled it in.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Keep SHEET (TOML) as the card sheet of a unit, or of one card.

    A card sheet states what a card carries, as read off the card: type, software, links,
    switches. WHERE is VESSEL/UNIT, for what its card must carry, or VESSEL/card:SERIAL, for what
    that card carries. `card blank` writes a sheet to fill in.
    """
    return settings.ask(answer, CardRecordQuestion(**options), _page)


def _page(screen: Screen, kept: CardRecordAnswer) -> None:
    entries = counted(kept.entries, "entry", "entries")
    screen.good(f"The card sheet of {kept.where} is on record: {entries}.")
