"""What the card of a unit must carry, or what one card carries, put on record."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.answers.given_files import sheet_file
from parambak.keeping.recording.cards import record_sheet

if TYPE_CHECKING:
    from parambak.answers.session import Session


class CardRecordQuestion(Question["CardRecordAnswer"], frozen=True):
    """The unit or the card, the sheet (a TOML file), and who filled it in."""

    where: str
    sheet: str
    by: str | None = None


class CardRecordAnswer(Answer, frozen=True):
    """The unit or the card, and how many entries its sheet has."""

    where: str
    entries: int


def answer(session: Session, question: CardRecordQuestion) -> CardRecordAnswer:
    """Keep the sheet; raise SheetRefused where it is none, or is for another unit or card."""
    data, sheet = sheet_file(question.sheet)
    name = PurePath(question.sheet).name
    kept = record_sheet(
        session.vault,
        where=question.where,
        name=name,
        data=data,
        by=question.by,
        target=sheet.target,
    )
    count = len(sheet.entries)
    if not count:
        session.note("the sheet states nothing: every line of it is a comment")
    return CardRecordAnswer(where=kept.where, entries=count)
