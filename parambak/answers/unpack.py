"""A pack merged into the vault."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import NO, YES, Answer, FileNote, Part, Question
from parambak.keeping.recording.packs import take_pack

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.model import Fleet


class UnpackQuestion(Question["UnpackAnswer"], frozen=True):
    """The pack's file."""

    file: str


class PackedVesselShown(Part, frozen=True):
    """One identity of a vessel in the pack, and the name that it was packed under."""

    id: str
    name: str


class UnpackAnswer(Answer, frozen=True):
    """What came in, what was repaired in the vault, and what could not be taken."""

    vessels: tuple[PackedVesselShown, ...]
    added: int
    objects: int
    records: int
    repaired: tuple[str, ...]
    refused: tuple[FileNote, ...]

    @property
    def exit_code(self) -> int:
        """Return 1 where something in the pack could not be taken."""
        return NO if self.refused else YES


def answer(session: Session, question: UnpackQuestion) -> UnpackAnswer:
    """Check the pack whole, then merge it; the vault is made where there is none.

    Raise PackRefused where the pack is of another form, NotFound or VaultRefused; then the
    vault is as it was.
    """
    vault = session.open(create=True)
    with session.progress("checking") as progress:
        taken = take_pack(vault, question.file, progress)
    joined = taken.joined
    if joined.added_records:
        session.note(*namesakes(session.fleet()))
    return UnpackAnswer(
        vessels=tuple(PackedVesselShown(*vessel) for vessel in sorted(taken.vessels.items())),
        added=joined.added_objects + joined.added_records,
        objects=joined.added_objects,
        records=joined.added_records,
        repaired=joined.repaired,
        refused=tuple(FileNote(damage.file, damage.text) for damage in joined.refused),
    )


def namesakes(fleet: Fleet) -> tuple[str, ...]:
    """Return a note for each name that several vessels have, as after a merge of two laptops."""
    by_name: dict[str, list[str]] = {}
    for vessel in fleet.vessels:
        if vessel.handle != vessel.short:
            by_name.setdefault(vessel.short.casefold(), []).append(vessel.handle)
    return tuple(
        f"{len(handles)} vessels have one name: {' and '.join(sorted(handles))}. If they are "
        "one ship, give each its IMO number (`parambak correct … --imo`), and they count as one"
        for handles in by_name.values()
        if len(handles) > 1
    )
