"""What a COPY names: a copy on record, or a dump file in its place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.given_files import read_dump_file, terms_of
from parambak.keeping.state import select
from parambak.vault.files.given import names_a_file

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.answers.session import Session
    from parambak.keeping.state.model import AttachedLayout, Copy, Fleet, Position
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image


@dataclass(frozen=True)
class GivenCopy:
    """The bytes that a COPY or a file names; `position` and `copy` are None for a file.

    `layout` is that of the copy, `attached` how it is on record. `newer` is the one attached last,
    if that is another.
    """

    name: str
    image: Image
    layout: Layout | None = None
    attached: AttachedLayout | None = None
    newer: AttachedLayout | None = None
    position: Position | None = None
    copy: Copy | None = None


def given_copy(session: Session, text: str) -> GivenCopy:
    """Return what a COPY names; a file that exists, or a name with a folder, goes first."""
    return given_copies(session, (text,))[0]


def given_copies(session: Session, texts: Iterable[str]) -> list[GivenCopy]:
    """Return what each COPY names, as `given_copy`; the vault is read once."""
    fleet: list[Fleet] = []
    return [_given_copy(session, text, fleet) for text in texts]


def _given_copy(session: Session, text: str, fleet: list[Fleet]) -> GivenCopy:
    if names_a_file(text):
        dump = read_dump_file(text, None, terms_of(()))
        return GivenCopy(PurePath(text).name, dump.image)
    if not fleet:
        fleet.append(session.fleet())
    position, copy = select.find_copy(fleet[0], text)
    attached = position.layout_of(copy)
    layout = session.assessor.layout(attached.entry) if attached is not None else None
    newest = position.layouts[-1] if attached is not None else None
    name = select.copy_name(position, copy)
    if copy.reconstructed:
        name += " (RECONSTRUCTED by a vote, never verified by itself)"
    return GivenCopy(
        name,
        session.assessor.image(copy.image),
        layout,
        attached,
        newest if attached and newest and newest.entry != attached.entry else None,
        position,
        copy,
    )
