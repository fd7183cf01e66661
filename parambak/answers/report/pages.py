"""What the printable pages have in common: what one is made from, and its file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Generic, TypeVar

from parambak.answers.forms import Answer, Question
from parambak.memory.digests import sha256
from parambak.vault.files.given import refuse_within, write_given

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.reports.parts import Desk

P = TypeVar("P", bound="PageWritten")


class PageQuestion(Question[P], Generic[P], frozen=True):
    """Where a page is written: the HTML file `out`; `replace` writes over one."""

    out: str
    replace: bool = False


class PageWritten(Answer, frozen=True):
    """The page's file, the SHA-256 of its bytes, and how many they are."""

    file: str
    sha256: str
    size: int


def desk_of(session: Session) -> Desk:
    """Return what a page is made from."""
    from parambak.reports.parts import Desk  # noqa: PLC0415 - slow to import, for pages only

    return Desk(session.fleet(), session.assessor, session.clock())


def write_page(kind: type[P], session: Session, page: bytes, question: PageQuestion[P]) -> P:
    """Write a page that was made, whole and never over another file unasked."""
    refuse_within(question.out, session.vault.root)
    write_given(question.out, page, replace=question.replace)
    return kind(file=question.out, sha256=sha256(page), size=len(page))
