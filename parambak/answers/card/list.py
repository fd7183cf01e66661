"""The processor cards on record, and where each is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.state import select
from parambak.keeping.state.cards import cross_overs, unit_of

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.cards import CrossOver
    from parambak.keeping.state.model import Card, Vessel


class CardListQuestion(Question["CardListAnswer"], frozen=True):
    """The vessel whose cards are listed; None for every vessel."""

    vessel: str | None = None


class CardPosition(Part, frozen=True):
    """A position with reads kept under a card, and how many copies it has."""

    where: str
    copies: int


class CardListed(Part, frozen=True):
    """A card: its type, where it is, its sheet, and what its records say in two ways.

    `unit` is the unit that it is in now; `belongs_to` its own unit where it is crossed over, else
    null. `sheet` is the file name of its card sheet.
    """

    where: str
    serial: str
    card_type: str | None
    location: str | None
    unit: str | None
    belongs_to: str | None
    sheet: str | None
    positions: tuple[CardPosition, ...]
    conflicts: tuple[str, ...]


class CardsCrossedOver(Part, frozen=True):
    """Two units whose cards are crossed over now, why, and since which day."""

    units: tuple[str, ...]
    why: str
    on: str


class CardListAnswer(Answer, frozen=True):
    """Every card, and the pairs of units whose cards are crossed over."""

    cards: tuple[CardListed, ...]
    crossed_over: tuple[CardsCrossedOver, ...]


def answer(session: Session, question: CardListQuestion) -> CardListAnswer:
    """List the cards; raise NotFound for a vessel that is not there, VaultRefused, VaultDamaged."""
    fleet = session.fleet()
    vessel = question.vessel
    vessels = fleet.vessels if vessel is None else (select.find_vessel(fleet, vessel),)
    cards: list[CardListed] = []
    crossed_over: list[CardsCrossedOver] = []
    for ship in vessels:
        aboard = cross_overs(session.vault, ship)
        cards += [_listed(ship, card, aboard) for card in ship.cards]
        for pair in aboard:
            session.note(pair.text)
            units = tuple(unit.where for unit in pair.units)
            crossed_over.append(CardsCrossedOver(units, pair.why, str(pair.on)))
        if len(vessels) > 1:
            ship.forget()
    return CardListAnswer(cards=tuple(cards), crossed_over=tuple(crossed_over))


def _listed(vessel: Vessel, card: Card, aboard: tuple[CrossOver, ...]) -> CardListed:
    own = unit_of(vessel, card)
    pair = next((cross_over.units for cross_over in aboard if own in cross_over.units), None)
    now = own
    if own is not None and pair is not None:
        now = pair[1] if own is pair[0] else pair[0]
    return CardListed(
        where=card.where,
        serial=card.serial,
        card_type=card.facts.get("card_type"),
        location=card.facts.get("location"),
        unit=now.where if now is not None else card.facts.get("unit") or None,
        belongs_to=own.where if own is not None and now is not own else None,
        sheet=card.sheet[1] if card.sheet is not None else None,
        positions=tuple(CardPosition(p.where, len(p.copies)) for p in card.positions),
        conflicts=tuple(f"{c.fact}: {' or '.join(c.values)}" for c in card.conflicts),
    )
