"""A fact is corrected or added, as a new record that says by whom and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.keeping.recording.admit import SIZE_BY_WHOM
from parambak.keeping.recording.entries import correct
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.part_numbers import StatedChip
    from parambak.keeping.state.model import Fleet, Position


class CorrectQuestion(Question["CorrectAnswer"], frozen=True):
    """The facts of a vessel, unit, card, position or copy, each by its name; who says so, and why.

    The names are those of the record: `short`, `display`, `imo`, `other_number`, `former`,
    `maker_type`, `serial`, `installed_in`, `chip`, `size`; of a copy's newest read `read_on`,
    `position` and `remark`.
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
    vault, before = session.vault, session.fleet()
    chip = _chip(session, before, question) if facts.keys() & {"chip", "size"} else None
    if chip is not None:
        facts |= _facts_of(chip, select.find_position(before, question.where), facts)
    about, warnings = correct(vault, question.where, facts, by=question.by, why=question.reason)
    session.note(*warnings)
    if chip is not None:
        from parambak.keeping.assess import size_doubts  # noqa: PLC0415 - a chip is rarely named

        position = select.find_position(before, question.where)
        part, size = chip.name or "this chip", chip.bytes or 0
        session.note(*size_doubts(session.assessor, position, part, size))
    return CorrectAnswer(about=about, facts=facts)


def _chip(session: Session, fleet: Fleet, question: CorrectQuestion) -> StatedChip | None:
    """Return the chip that is stated of a position, by its number or by its size."""
    from parambak.keeping.part_numbers import size_typed  # noqa: PLC0415 - a chip is rarely named

    if "@" in question.where or select.parse_where(question.where).position is None:
        return None  # what is no position has no such fact
    size = question.facts.get("size")
    if size is not None and question.by is None:
        raise SIZE_BY_WHOM.error(expected="--size with --by", found="no name")
    printed = question.facts.get("chip") or select.find_position(fleet, question.where).chip
    return session.stated_chip(printed, size_typed(size) if size is not None else None)


def _facts_of(chip: StatedChip, position: Position, facts: dict[str, str]) -> dict[str, str]:
    """Return the facts of a chip as they go on record.

    A size on record by a person's word is taken back once the table of chips gives the size.
    """
    name = {"chip": chip.name.casefold()} if chip.name and "chip" in facts else {}
    if chip.size is None and position.size is None:
        facts.pop("size", None)
        return name
    return name | {"size": str(chip.size or "")}
