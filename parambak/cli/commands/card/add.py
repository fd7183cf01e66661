"""`card add`: a processor card by its serial number, and where it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.add import CardAddQuestion
from parambak.cli.command import asks
from parambak.keeping.state.cards import CARD_LOCATIONS

if TYPE_CHECKING:
    from parambak.answers.card.add import CardAddAnswer
    from parambak.cli.screen import Screen


@asks(CardAddQuestion, example="parambak card add grebe PC-4471 --location 'spare aboard'")
@click.argument("vessel", metavar="VESSEL")
@click.argument("serial", metavar="SERIAL")
@click.option(
    "--location",
    type=click.Choice(CARD_LOCATIONS),
    help="Where it is now. Default: spare aboard, or with --unit in a unit.",
)
@click.option("--unit", metavar="NAME", help="The unit that it is in.")
@click.option("--card-type", metavar="TEXT", help="The maker's type, as printed on it.")
@click.option("--by", metavar="PERSON", help="Who states it.")
def command(screen: Screen, card: CardAddAnswer) -> None:
    """Record a card, or where a recorded card is now.

    Archive the dump of a spare card with `archive --card SERIAL`, never under a unit.
    """
    unit = f", {card.unit}" if card.unit is not None else ""
    screen.good(f"On record: {card.where}, {card.location}{unit}.")
