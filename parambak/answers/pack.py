"""Whole vessels as one file, for another vault to unpack."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, FileNote, Question
from parambak.keeping.recording.packs import pack
from parambak.vault.faults import RECORD_SKIPPED
from parambak.vault.files.given import refuse_within

if TYPE_CHECKING:
    from parambak.answers.session import Session

LOST = (
    "a damaged record may be about a vessel that was packed, and is in no pack: run "
    "`parambak recheck`"
)


class PackQuestion(Question["PackAnswer"], frozen=True):
    """The names of the vessels, and the file to write; `replace` writes over one there."""

    vessels: tuple[str, ...]
    out: str
    replace: bool = False


class PackAnswer(Answer, frozen=True):
    """The pack that was written and read back: its length in bytes, and the files in it.

    `refused` is empty: a pack is whole, or it is not written.
    """

    file: str
    sha256: str
    size: int
    vessels: tuple[str, ...]
    sent: int
    objects: int
    records: int
    refused: tuple[FileNote, ...]


def answer(session: Session, question: PackQuestion) -> PackAnswer:
    """Write the pack.

    Raise NotFound or CallRefused for a name or the file, VaultDamaged where a vessel is not
    whole, VaultRefused where the pack cannot be written.
    """
    vault = session.vault
    refuse_within(question.out, session.folders.vault_folder)
    with session.progress("packing") as progress:
        written, handles = pack(
            vault, question.vessels, question.out, progress, replace=question.replace
        )
    if any(finding.code == RECORD_SKIPPED for finding in vault.warnings):
        session.note(LOST)
    packed = written.packed
    return PackAnswer(
        file=question.out,
        sha256=written.sha256,
        size=packed.bytes,
        vessels=handles,
        sent=packed.objects + packed.records,
        objects=packed.objects,
        records=packed.records,
        refused=(),
    )
