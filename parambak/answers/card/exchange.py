"""The cards of two like units, exchanged for fault-finding and put back, put on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.cards import record_exchange

if TYPE_CHECKING:
    from parambak.answers.session import Session


class CardExchangeQuestion(Question, frozen=True):
    """The two units, why their cards were exchanged, and by whom.

    With `back` they were put back, each into its own unit.
    """

    one: str
    other: str
    why: str
    by: str
    back: bool = False


class CardExchangeAnswer(Answer, frozen=True):
    """The two units, whether their cards are exchanged now, and why.

    `meaning` says in words what that means for their chips, null where they were put back.
    """

    units: tuple[str, ...]
    exchanged: bool
    why: str
    meaning: str | None


def answer(session: Session, question: CardExchangeQuestion) -> CardExchangeAnswer:
    """Put the exchange on record; raise CallRefused, NotFound, VaultRefused or VaultDamaged."""
    exchange, warnings = record_exchange(
        session.vault,
        question.one,
        question.other,
        why=question.why,
        by=question.by,
        back=question.back,
    )
    session.note(*warnings)
    return CardExchangeAnswer(
        units=tuple(unit.where for unit in exchange.units),
        exchanged=not question.back,
        why=question.why,
        meaning=None if question.back else exchange.said,
    )
