"""`card list`: the processor cards on record, and where each is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.list import CardListQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.card.list import CardListAnswer, CardListed
    from parambak.cli.screen import Screen


@asks(CardListQuestion, example="parambak card list grebe")
@click.argument("vessel", metavar="[VESSEL]", required=False)
def command(screen: Screen, listed: CardListAnswer) -> None:
    """List the cards of VESSEL, or of all vessels: where each is, its dumps, its sheet."""
    cards = listed.cards
    if not cards:
        screen.say("No card is on record here. Put one there with `parambak card add`.")
        return
    screen.table(
        ("card", "type", "location", "copies under the card", "sheet"),
        [
            (
                card.where,
                card.card_type or "not recorded",
                _location(card),
                _dumps(card),
                card.sheet or "none",
            )
            for card in cards
        ],
    )
    for card in cards:
        for conflict in card.conflicts:
            screen.say(
                f"{card.where}: the records differ: {conflict}. Correct it with `parambak card "
                "add`."
            )
    screen.say()
    screen.say(f"{counted(len(cards), 'card')}.")


def _location(card: CardListed) -> str:
    words = card.location or "not recorded"
    if card.unit is not None:
        words += f", {card.unit}"
    return f"{words} (CROSSED OVER, belongs to {card.belongs_to})" if card.belongs_to else words


def _dumps(card: CardListed) -> str:
    """Return the positions with reads kept under the card, and how many copies each has."""
    positions = [
        f"{position.where.rpartition('/')[2]}: {counted(position.copies, 'copy', 'copies')}"
        for position in card.positions
    ]
    return ", ".join(positions) or "none"
