"""A card sheet to fill in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Question
from parambak.vault.files.given import shipped, write_given

if TYPE_CHECKING:
    from parambak.answers.session import Session

BLANK = "cards/blank.toml"


class CardBlankQuestion(Question["CardBlankAnswer"], frozen=True):
    """The file to write, also over another; without `out` none is written."""

    out: str | None = None
    replace: bool = False


class CardBlankAnswer(Answer, frozen=True):
    """The file that was written, null where none was, and the text of the sheet."""

    file: str | None
    text: str


def answer(session: Session, question: CardBlankQuestion) -> CardBlankAnswer:
    """Write the sheet where a file is named; raise CallRefused where it cannot be written."""
    del session
    data = shipped(BLANK)
    if question.out is not None:
        write_given(question.out, data, replace=question.replace)
    return CardBlankAnswer(file=question.out, text=data.decode("utf-8"))
