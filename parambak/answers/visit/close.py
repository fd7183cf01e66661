"""A visit is closed: what was done in it, and what was not read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.recording.visits import close_visit

if TYPE_CHECKING:
    from parambak.answers.session import Session


class VisitCloseQuestion(Question["VisitCloseAnswer"], frozen=True):
    """The vessel, needed where several visits are open, and what the next one should know."""

    vessel: str | None = None
    remark: str | None = None


class ReadsShown(Part, frozen=True):
    """How many reads of a position the visit put on record."""

    where: str
    reads: int


class VisitCloseAnswer(Answer, frozen=True):
    """The visit and what was done in it.

    `reads` counts all of them, `measurements` the rounds of measuring; `not_read` are the
    positions aboard with a copy that were not read, `changed` those whose bytes were not those
    of the copy before.
    """

    vessel: str
    on: str
    reads: int
    read: tuple[ReadsShown, ...]
    not_read: tuple[str, ...]
    changed: tuple[str, ...]
    measurements: int


def answer(session: Session, question: VisitCloseQuestion) -> VisitCloseAnswer:
    """Put the closing on record; raise CallRefused, VaultRefused or NotFound."""
    handle, visit, attendance = close_visit(
        session.vault, vessel=question.vessel, remark=question.remark
    )
    return VisitCloseAnswer(
        vessel=handle,
        on=visit.on,
        reads=sum(attendance.reads.values()),
        read=tuple(ReadsShown(where, count) for where, count in attendance.reads.items()),
        not_read=attendance.missed,
        changed=attendance.changed,
        measurements=attendance.measured,
    )
