"""A layout attached to a position, without archiving a dump again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.catalogue import UnmetCondition, unmet_of
from parambak.answers.forms import Answer, Question
from parambak.answers.given_files import layout_file
from parambak.errors import LayoutRefused
from parambak.keeping.recording.aboard import attach_layout
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session


class LayoutAttachQuestion(Question["LayoutAttachAnswer"], frozen=True):
    """The position, the layout's file, and who states that it belongs there."""

    where: str
    file: str
    by: str | None = None


class LayoutAttachAnswer(Answer, frozen=True):
    """The position and its layout from here on, and what the latest copy is by it.

    `attached` is false if it was the position's layout already: then nothing was put on record.
    `before` is the layout's file until then, null if there was none; `copy` the latest copy, null
    if there is none.
    """

    where: str
    layout: str
    sha256: str
    attached: bool
    before: str | None
    copy: str | None
    verified: bool
    unmet: tuple[UnmetCondition, ...]


def answer(session: Session, question: LayoutAttachQuestion) -> LayoutAttachAnswer:
    """Put the layout on record; raise LayoutRefused, CallRefused, NotFound or VaultDamaged."""
    given = layout_file(question.file)
    try:
        attached = attach_layout(
            session.vault, session.chips, question.where, given, by=question.by
        )
    except LayoutRefused as error:
        raise error.in_file(question.file) from error
    position, before = attached.position, attached.before
    layout, latest = position.layouts[-1].entry, position.latest
    verdict = session.assessor.verdict(position, latest) if latest is not None else None
    return LayoutAttachAnswer(
        where=position.where,
        layout=layout.name,
        sha256=layout.sha256,
        attached=attached.new,
        before=before.name if before is not None else None,
        copy=select.copy_name(position, latest) if latest is not None else None,
        verified=verdict is not None and verdict.verified,
        unmet=unmet_of(verdict),
    )
