"""A unit put on record before any of its chips is read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.aboard import add_unit

if TYPE_CHECKING:
    from parambak.answers.session import Session


class UnitAddQuestion(Question["UnitAddAnswer"], frozen=True):
    """The unit as VESSEL/UNIT, its facts, and who states it.

    `new_vessel` and `new_unit` confirm that a name is new, although it is not on record or is
    almost another's.
    """

    where: str
    display: str | None = None
    maker_type: str | None = None
    serial: str | None = None
    installed_in: str | None = None
    by: str | None = None
    new_vessel: bool = False
    new_unit: bool = False


class UnitAddAnswer(Answer, frozen=True):
    """The unit, and in words all that is new on record."""

    where: str
    made: tuple[str, ...]


def answer(session: Session, question: UnitAddQuestion) -> UnitAddAnswer:
    """Put the unit on record; raise CallRefused, NotFound, VaultRefused or VaultDamaged."""
    facts = {
        "display": question.display,
        "maker_type": question.maker_type,
        "serial": question.serial,
        "installed_in": question.installed_in,
    }
    added = add_unit(
        session.open(create=question.new_vessel),
        question.where,
        {name: value for name, value in facts.items() if value},
        by=question.by,
        new_vessel=question.new_vessel,
        new_unit=question.new_unit,
    )
    return UnitAddAnswer(where=added.where, made=added.made)
