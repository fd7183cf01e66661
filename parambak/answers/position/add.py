"""A position put on record before its chip is read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.aboard import add_position

if TYPE_CHECKING:
    from parambak.answers.session import Session


class PositionAddQuestion(Question["PositionAddAnswer"], frozen=True):
    """The position as VESSEL/UNIT/POSITION, the part of its chip, and who states it.

    `new_position` confirms that it is another one, although its name is almost another's.
    """

    where: str
    chip: str | None = None
    by: str | None = None
    new_position: bool = False


class PositionAddAnswer(Answer, frozen=True):
    """The position, its chip's name in the table, and in words what is new on record."""

    where: str
    chip: str | None
    made: tuple[str, ...]


def answer(session: Session, question: PositionAddQuestion) -> PositionAddAnswer:
    """Put the position on record; raise CallRefused, NotFound, VaultRefused or VaultDamaged."""
    chip = session.chip(question.chip).name if question.chip is not None else None
    added = add_position(
        session.vault,
        question.where,
        chip=chip.casefold() if chip is not None else None,
        by=question.by,
        new_position=question.new_position,
    )
    return PositionAddAnswer(where=added.where, chip=chip, made=added.made)
