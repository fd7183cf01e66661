"""The cards of two like units, crossed over for fault-finding and put back, put on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.cards import record_cross_over

if TYPE_CHECKING:
    from parambak.answers.session import Session


class CardCrossOverQuestion(Question["CardCrossOverAnswer"], frozen=True):
    """The two units, why their cards were crossed over, and by whom.

    With `back` they were put back, each into its own unit.
    """

    one: str
    other: str
    reason: str
    by: str
    back: bool = False


class CardCrossOverAnswer(Answer, frozen=True):
    """The two units, whether their cards are crossed over now, and why.

    `consequence` says in words what that means for their chips, null where they were put back.
    """

    units: tuple[str, ...]
    crossed_over: bool
    reason: str
    consequence: str | None


def answer(session: Session, question: CardCrossOverQuestion) -> CardCrossOverAnswer:
    """Put the cross-over on record; raise CallRefused, NotFound, VaultRefused or VaultDamaged."""
    cross_over, warnings = record_cross_over(
        session.vault,
        question.one,
        question.other,
        why=question.reason,
        by=question.by,
        back=question.back,
    )
    session.note(*warnings)
    return CardCrossOverAnswer(
        units=tuple(unit.where for unit in cross_over.units),
        crossed_over=not question.back,
        reason=question.reason,
        consequence=None if question.back else cross_over.text,
    )
