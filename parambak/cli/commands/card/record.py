"""`card record`: what the card of a unit must carry, or what one card carries."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.record import CardRecordQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.card.record import CardRecordAnswer
    from parambak.cli.screen import Screen


@asks(CardRecordQuestion, example="parambak card record grebe/port-thruster SHEET.TOML")
@click.argument("where", metavar="WHERE")
@click.argument("sheet", metavar="SHEET")
@click.option("--by", metavar="PERSON", help="Who filled it in.")
def command(screen: Screen, kept: CardRecordAnswer) -> None:
    """Keep SHEET (TOML) as the card sheet of a unit, or of one card.

    A card sheet states what a card carries, as read off the card: type, software, links,
    switches. WHERE is VESSEL/UNIT, for what its card must carry, or VESSEL/card:SERIAL, for what
    that card carries. `card blank` writes a sheet to fill in.
    """
    entries = counted(kept.entries, "entry", "entries")
    screen.good(f"The card sheet of {kept.where} is on record: {entries}.")
