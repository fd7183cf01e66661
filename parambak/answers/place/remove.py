"""A place given up, as a new record; nothing in it is touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Question
from parambak.answers.place.locations import LocationAnswer, members_of
from parambak.keeping.recording.backups import remove_backup

if TYPE_CHECKING:
    from parambak.answers.session import Session


class PlaceRemoveQuestion(Question, frozen=True):
    """The place's name."""

    name: str


class PlaceRemoveAnswer(LocationAnswer, frozen=True):
    """The place that was given up."""


def answer(session: Session, question: PlaceRemoveQuestion) -> PlaceRemoveAnswer:
    """Put on record that a place is given up; raise NotFound or CallRefused for its name."""
    location = remove_backup(session.vault, question.name)
    return PlaceRemoveAnswer(**members_of(session, location))
