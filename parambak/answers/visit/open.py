"""A visit is opened: `archive` then knows vessel, person and reader."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers import faults
from parambak.answers.forms import Answer, Question
from parambak.answers.persons import person_of
from parambak.keeping.recording.visits import open_visit

if TYPE_CHECKING:
    from parambak.answers.session import Session


class VisitOpenQuestion(Question["VisitOpenAnswer"], frozen=True):
    """Who attends which vessel, with which reader.

    `on` is the first day, with or without the hour, today where it is None. `new_vessel` confirms
    that the vessel is new: it is not on record yet.
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
    by = person_of(session, question.by)
    if by is None:
        raise faults.VISIT_PERSON.error(expected="--by NAME", found="no name")
    day, hour = session.clock().date().isoformat(), None
    if question.on is not None:
        day, hour = session.past_moment(question.on)
    handle, new = open_visit(
        session.open(create=True),
        vessel=question.vessel,
        on=day,
        at=hour,
        by=by,
        reader=question.reader,
        confirmed=question.new_vessel,
    )
    return VisitOpenAnswer(vessel=handle, on=day, new_vessel=new)
