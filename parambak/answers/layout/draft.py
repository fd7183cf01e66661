"""A commented first layout for a memory of which only the size is known, written to a file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from msgspec import Meta

from parambak.answers.forms import Answer, Question
from parambak.errors import CallRefused, Fault
from parambak.layouts.draft import draft
from parambak.layouts.model import MOST_MEMORY
from parambak.vault.files.given import write_given

if TYPE_CHECKING:
    from parambak.answers.session import Session

DRAFT_SIZE = Fault(
    "draft-size",
    CallRefused,
    "a draft needs the size of the memory",
    "Give --memory BYTES, or --chip with a part number of the table, and not both.",
)


class LayoutDraftQuestion(Question["LayoutDraftAnswer"], frozen=True):
    """The memory's size in bytes, or the chip that has it; the file to write, also over another."""

    out: str
    memory: Annotated[int, Meta(ge=1, le=MOST_MEMORY)] | None = None
    chip: str | None = None
    replace: bool = False


class LayoutDraftAnswer(Answer, frozen=True):
    """The file that was written, and the size in bytes of the memory that it is for."""

    file: str
    memory: int


def answer(session: Session, question: LayoutDraftQuestion) -> LayoutDraftAnswer:
    """Write the draft; raise CallRefused without one size, or where the file is there already."""
    part = None if question.chip is None else session.chip(question.chip)
    size = question.memory if part is None else part.size
    if size is None or (part is not None and question.memory is not None):
        raise DRAFT_SIZE.error(
            expected="one of the two", found="neither" if part is None else "both"
        )
    text = draft(size, None if part is None else part.name)
    write_given(question.out, text.encode(), replace=question.replace)
    return LayoutDraftAnswer(file=question.out, memory=size)
