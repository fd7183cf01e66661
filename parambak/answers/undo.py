"""The last command of this user taken back, by withdrawing what it put on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.answers.withdrawn_shown import LeftShown, WithdrawnShown, left_at, withdrawn_shown
from parambak.keeping.recording.withdrawing import counting_again, last_command, undo
from parambak.keeping.state.record_words import summary

if TYPE_CHECKING:
    from parambak.answers.session import Session


class UndoQuestion(Question["UndoAnswer"], frozen=True):
    """Who takes it back, and why; with `redo`, the last `undo` is taken back.

    `command` is the identity of the command that a person was shown: another one is not taken
    back.
    """

    by: str | None = None
    reason: str | None = None
    redo: bool = False
    command: str | None = None


class UndoAnswer(Answer, frozen=True):
    """What was taken back in words, the records that no longer count, and what is left."""

    undone: str
    withdrawn: tuple[WithdrawnShown, ...]
    left: tuple[LeftShown, ...]


class LastDone(Part, frozen=True):
    """The command that `undo` would take back, and what it put on record, in words."""

    command: str
    text: str


def _stays(kinds: tuple[str, ...]) -> str:
    listed = ", ".join(f"`{kind}`" for kind in kinds)
    return f"later records of kind {listed} stay: a backup or a check is no slip"


def to_undo(session: Session, *, redo: bool) -> LastDone:
    """Return what a person at a terminal is asked about; raise NotFound if there is nothing."""
    last = last_command(session.vault, redo=redo)
    return LastDone(last.command, summary(last.records, session.fleet()))


def answer(session: Session, question: UndoQuestion) -> UndoAnswer:
    """Take the last command back; raise NotFound, CallRefused, VaultRefused or VaultDamaged."""
    text, passed, taken_back = undo(
        session.vault,
        command=question.command,
        by=question.by,
        why=question.reason,
        redo=question.redo,
    )
    if passed:
        session.note(_stays(passed))
    shown = withdrawn_shown(session, taken_back.records, taken_back.before)
    again = withdrawn_shown(session, counting_again(session.vault, taken_back), session.fleet())
    left = left_at(session, (s.where for s in (*shown, *again)))
    return UndoAnswer(undone=text, withdrawn=shown, left=left)
