"""A fact is corrected or added, as a new record that says by whom and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.entries import correct
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session


class CorrectQuestion(Question["CorrectAnswer"], frozen=True):
    """The facts of a vessel, unit, card, position or copy, each by its name; who says so, and why.

    The names are those of the record: `short`, `display`, `imo`, `other_number`, `former`,
    `maker_type`, `serial`, `installed_in`, `chip`; of a copy's newest read `read_on`, `position`
    and `remark`.
    """

    where: str
    facts: dict[str, str]
    by: str | None = None
    reason: str | None = None


class CorrectAnswer(Answer, frozen=True):
    """What the facts are about, in words, and the facts as they are on record now."""

    about: str
    facts: dict[str, str]


def answer(session: Session, question: CorrectQuestion) -> CorrectAnswer:
    """Put the facts on record; raise CallRefused, NotFound or VaultRefused.

    What a chip contradicts that is named now is noted.
    """
    facts = dict(question.facts)
    chip = session.chip(facts["chip"]) if "chip" in facts else None
    if chip is not None:
        facts["chip"] = chip.name.casefold()
    vault, before = session.vault, session.fleet()
    about, warnings = correct(vault, question.where, facts, by=question.by, why=question.reason)
    session.note(*warnings)
    if chip is not None:
        from parambak.keeping.assess import size_doubts  # noqa: PLC0415 - a chip is rarely named

        position = select.find_position(before, question.where)
        session.note(*size_doubts(session.assessor, position, chip))
    return CorrectAnswer(about=about, facts=facts)
