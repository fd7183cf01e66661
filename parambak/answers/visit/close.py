"""A visit is closed: what was done in it, and what was not read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.recording.visits import close_visit

if TYPE_CHECKING:
    from parambak.answers.session import Session


class VisitCloseQuestion(Question["VisitCloseAnswer"], frozen=True):
    """The vessel, needed where several visits are open, and what the next one should know.

    `on` is its last day, with or without the hour: today where it is None, or the first day of a
    visit that was entered afterwards. `by` closes it, the visit's person where it is None.
    """

    vessel: str | None = None
    on: str | None = None
    by: str | None = None
    remark: str | None = None


class ReadsShown(Part, frozen=True):
    """How many reads of a position the visit put on record."""

    where: str
    reads: int


class VisitCloseAnswer(Answer, frozen=True):
    """The visit, its first and last day with the hours that are recorded, and what was done in it.

    `reads` counts all of them, `measurements` the rounds of measuring; `not_read` are the
    positions aboard with a copy that were not read, `changed` those whose bytes were not those
    of the copy before.
    """

    vessel: str
    on: str
    at: str | None
    closed: str
    closed_at: str | None
    reads: int
    read: tuple[ReadsShown, ...]
    not_read: tuple[str, ...]
    changed: tuple[str, ...]
    measurements: int


def answer(session: Session, question: VisitCloseQuestion) -> VisitCloseAnswer:
    """Put the closing on record; raise CallRefused, VaultRefused or NotFound."""
    day, hour = session.past_moment(question.on) if question.on is not None else (None, None)
    closed = close_visit(
        session.vault,
        vessel=question.vessel,
        remark=question.remark,
        today=session.clock().date(),
        on=day,
        at=hour,
        by=question.by,
    )
    session.note(*closed.notes)
    visit, attendance = closed.visit, closed.done
    return VisitCloseAnswer(
        vessel=closed.vessel,
        on=visit.on,
        at=visit.at,
        closed=visit.closed or visit.on,
        closed_at=visit.closed_at,
        reads=sum(attendance.reads.values()),
        read=tuple(ReadsShown(where, count) for where, count in attendance.reads.items()),
        not_read=attendance.missed,
        changed=attendance.changed,
        measurements=attendance.measured,
    )
