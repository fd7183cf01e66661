"""A processor card by its serial number, and its location, put on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.cards import enter_card
from parambak.keeping.state.cards import IN_A_UNIT, CardLocation

if TYPE_CHECKING:
    from parambak.answers.session import Session


class CardAddQuestion(Question["CardAddAnswer"], frozen=True):
    """The vessel, the card's serial number, where it is now, its type, and who says so.

    Without `location` it is spare aboard, or with a `unit` in that unit.
    """

    vessel: str
    serial: str
    location: CardLocation | None = None
    unit: str | None = None
    card_type: str | None = None
    by: str | None = None


class CardAddAnswer(Answer, frozen=True):
    """The card, whether it is new on record, and where it is."""

    where: str
    new: bool
    location: str
    unit: str | None


def answer(session: Session, question: CardAddQuestion) -> CardAddAnswer:
    """Put the card on record; raise CallRefused, NotFound, VaultRefused or VaultDamaged."""
    unit = question.unit
    location = question.location or ("spare aboard" if unit is None else IN_A_UNIT)
    where, new = enter_card(
        session.vault,
        vessel=question.vessel,
        serial=question.serial,
        location=location,
        card_type=question.card_type,
        by=question.by,
        unit=unit,
    )
    return CardAddAnswer(where=where, new=new, location=location, unit=unit)
