"""A fact is corrected or added, as a new record that says by whom and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.answers.withdrawn_shown import LeftShown, left_at
from parambak.keeping.recording.admit import SIZE_BY_WHOM
from parambak.keeping.recording.entries import correct
from parambak.keeping.recording.moving import Confirmed
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.part_numbers import StatedChip
    from parambak.keeping.state.model import Fleet, Position


class CorrectQuestion(Question["CorrectAnswer"], frozen=True):
    """The facts of a vessel, unit, card, position or copy, each by its name; who says so, and why.

    The names are those of the record: `short`, `display`, `imo`, `other_number`, `former`,
    `maker_type`, `serial`, `installed_in`, `chip`, `size`; of reads `read_on`, `position`
    and `remark`. Of a COPY these are all reads that one `archive` kept with its newest read, or
    those named in `read`: by a dump file, or by the first eight digits of a record. What is new
    at `position` is made as `archive` does; `new_vessel`, `new_unit` and `new_position` confirm it.
    """

    where: str
    facts: dict[str, str]
    by: str | None = None
    reason: str | None = None
    read: tuple[str, ...] = ()
    new_vessel: bool = False
    new_unit: bool = False
    new_position: bool = False


class CorrectedRead(Part, frozen=True):
    """A read that was corrected: its record now, where it is now, and the read in words."""

    record: str
    where: str
    text: str


class CorrectAnswer(Answer, frozen=True):
    """What the facts are about, in words, and the facts as they are on record now.

    `corrected` are the reads, empty if the facts are not of reads. `left` is what still counts
    where they were; `made` what came on record with a move.
    """

    about: str
    facts: dict[str, str]
    corrected: tuple[CorrectedRead, ...]
    left: tuple[LeftShown, ...]
    made: tuple[str, ...]


def answer(session: Session, question: CorrectQuestion) -> CorrectAnswer:
    """Put the facts on record; raise CallRefused, NotFound or VaultRefused.

    What a chip contradicts that is named now is noted.
    """
    facts = dict(question.facts)
    if "read_on" in facts and ("@" in question.where or question.read):
        session.past_day(facts["read_on"])
    vault, before = session.vault, session.fleet()
    chip = _chip(session, before, question) if facts.keys() & {"chip", "size"} else None
    if chip is not None:
        facts |= _facts_of(chip, select.find_position(before, question.where), facts)
    done = correct(
        vault,
        question.where,
        facts,
        by=question.by,
        why=question.reason,
        reads=question.read,
        confirmed=Confirmed(question.new_vessel, question.new_unit, question.new_position),
    )
    session.note(*done.warnings)
    if chip is not None:
        from parambak.keeping.assess import size_doubts  # noqa: PLC0415 - a chip is rarely named

        position = select.find_position(before, question.where)
        part, size = chip.name or "this chip", chip.bytes or 0
        session.note(*size_doubts(session.assessor, position, part, size))
    now = done.facts.get("position", done.before) or ""
    return CorrectAnswer(
        about=done.about,
        facts=dict(done.facts),
        corrected=tuple(CorrectedRead(record, now, text) for record, text in done.records),
        left=left_at(session, (done.before,)),
        made=done.made,
    )


def _chip(session: Session, fleet: Fleet, question: CorrectQuestion) -> StatedChip | None:
    """Return the chip that is stated of a position, by its number or by its size."""
    from parambak.keeping.part_numbers import size_typed  # noqa: PLC0415 - a chip is rarely named

    if (
        "@" in question.where
        or question.read
        or select.parse_where(question.where).position is None
    ):
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
