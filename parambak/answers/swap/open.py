"""The replacing of a card begins: from here on its course is on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.swap import recording

if TYPE_CHECKING:
    from parambak.answers.session import Session


class SwapOpenQuestion(Question["SwapOpenAnswer"], frozen=True):
    """The position, who opens the swap and why, by which route, and the cards' serial numbers.

    `route` is load, or move-chip where the old chip goes onto the new card.
    """

    where: str
    by: str
    reason: str
    route: str = "load"
    old_card: str | None = None
    new_card_serial: str | None = None


class SwapOpenAnswer(Answer, frozen=True):
    """The position, that its swap is open, and the route."""

    where: str
    open: bool
    route: str


def answer(session: Session, question: SwapOpenQuestion) -> SwapOpenAnswer:
    """Open the swap; raise CallRefused, NotFound, VaultRefused or VaultDamaged."""
    opened = recording.open_swap(
        session.assessor,
        question.where,
        why=question.reason,
        by=question.by,
        route=question.route,
        old_card=question.old_card,
        new_card=question.new_card_serial,
    )
    session.note(*opened.notes)
    return SwapOpenAnswer(where=opened.position.where, open=True, route=question.route)
