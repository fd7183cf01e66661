"""A visit is opened: `archive` then knows vessel, person and reader."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.visits import open_visit

if TYPE_CHECKING:
    from parambak.answers.session import Session


class VisitOpenQuestion(Question["VisitOpenAnswer"], frozen=True):
    """Who attends which vessel, with which reader; `on` is the day, today where it is None.

    `new_vessel` says that it is another ship, though its name is near that of one on record.
    """

    vessel: str
    by: str | None = None
    reader: str | None = None
    on: str | None = None
    new_vessel: bool = False


class VisitOpenAnswer(Answer, frozen=True):
    """The vessel as it is named from now on, the day, and whether the vessel is new."""

    vessel: str
    on: str
    new_vessel: bool


def answer(session: Session, question: VisitOpenQuestion) -> VisitOpenAnswer:
    """Put the opening on record; raise CallRefused, VaultRefused or NotFound."""
    day = session.past_day(question.on) if question.on else session.clock().date().isoformat()
    handle, new = open_visit(
        session.open(create=True),
        vessel=question.vessel,
        on=day,
        by=question.by,
        reader=question.reader,
        confirmed=question.new_vessel,
    )
    return VisitOpenAnswer(vessel=handle, on=day, new_vessel=new)
