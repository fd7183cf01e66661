"""A backup location removed, as a new record; nothing in it is touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.backup.locations import LocationAnswer, members_of
from parambak.answers.forms import Question
from parambak.keeping.recording.backups import remove_backup

if TYPE_CHECKING:
    from parambak.answers.session import Session


class BackupRemoveQuestion(Question["BackupRemoveAnswer"], frozen=True):
    """The backup location's name."""

    name: str


class BackupRemoveAnswer(LocationAnswer, frozen=True):
    """The backup location that was removed."""


def answer(session: Session, question: BackupRemoveQuestion) -> BackupRemoveAnswer:
    """Put on record that a location is removed; raise NotFound or CallRefused for its name."""
    location = remove_backup(session.vault, question.name)
    return BackupRemoveAnswer(**members_of(session, location))
