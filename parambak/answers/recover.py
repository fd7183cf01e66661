"""A new vault from all that can be proven in a folder."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.forms import NO, YES, Answer, FileNote, Part, Question
from parambak.answers.losses_shown import LossShown, losses_shown
from parambak.keeping.recording.losses import LeftOut, note_left_out
from parambak.keeping.recording.texts import NAME
from parambak.keeping.state.losses import losses
from parambak.vault.check.recover import given_sources, new_vault, refuse_unfit_target, surveyed
from parambak.vault.joining import join
from parambak.vault.records import names_object, record_in

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.answers.session import Session
    from parambak.vault.check.recheck import Damage
    from parambak.vault.check.recover import Heap
    from parambak.vault.joining import Joined


class RecoverQuestion(Question["RecoverAnswer"], frozen=True):
    """The files and folders to recover from; they are only read."""

    folders: tuple[str, ...]


class MissingFile(Part, frozen=True):
    """A file that some record names and that is nowhere, and what is lost with it."""

    file: str
    lost: tuple[LossShown, ...]


class UnusedFile(Part, frozen=True):
    """A file that did not go into the new vault, and why.

    `proven` says that it is what its name says, and was still refused.
    """

    file: str
    text: str
    proven: bool


class RecoverAnswer(Answer, frozen=True):
    """The new vault, how many files were looked at, and what came of them.

    `identity_known` says that a record states the old vault's identity; `unnamed` counts the
    files that no record names; `doubtful` are those of the unused that may hold what is lost.
    """

    vault: str
    identity: str
    identity_known: bool
    files: int
    objects: int
    records: int
    unnamed: int
    missing: tuple[MissingFile, ...]
    refused: tuple[UnusedFile, ...]
    doubtful: tuple[FileNote, ...]

    @property
    def whole(self) -> bool:
        """Return whether nothing is known to be missing."""
        return not self.missing and not self.in_doubt

    @property
    def in_doubt(self) -> frozenset[tuple[str, str]]:
        """Return file and text of each one that may hold what is lost."""
        refused = {(file.file, file.text) for file in self.refused if file.proven}
        return frozenset(refused | {(file.file, file.text) for file in self.doubtful})

    @property
    def exit_code(self) -> int:
        """Return 1 where something is missing, or may be."""
        return YES if self.whole else NO


def answer(session: Session, question: RecoverQuestion) -> RecoverAnswer:
    """Build a vault in the session's folder of all that can be proven.

    Raise NotFound where nothing is, VaultRefused or CallRefused where the folder is not fit.
    """
    folders = session.folders
    sources = given_sources(question.folders)
    refuse_unfit_target(folders.vault_folder, sources)
    with session.progress("checking") as progress, surveyed(sources, progress) as heap:
        vault = new_vault(
            folders.vault_folder, heap, folders.own_folder, session.clock, folders.cache_folder
        )
        session.take(vault)
        with vault.writing() as writing:
            joined = join(vault, writing, heap.pieces(), loose=True)
            note_left_out(vault, writing, _left_out(question, heap, joined), vault.vessels())
    histories = (vault.records(vessel) for vessel in (None, *vault.vessels()))
    lost = losses(session.fleet(), histories, joined.missing) if joined.missing else {}
    unused = (*_unused(heap.refused, proven=False), *_unused(joined.refused, proven=True))
    return RecoverAnswer(
        vault=str(vault.root),
        identity=vault.identity,
        identity_known=heap.identity() is not None,
        files=heap.count,
        objects=joined.added_objects,
        records=joined.added_records,
        unnamed=heap.unnamed,
        missing=tuple(MissingFile(f, losses_shown(lost.get(f, ()))) for f in joined.missing),
        refused=unused,
        doubtful=tuple(FileNote(damage.file, damage.text) for damage in heap.doubtful),
    )


def _left_out(question: RecoverQuestion, heap: Heap, joined: Joined) -> LeftOut:
    """Return the records that are lost for the new vault, as far as their names are there."""
    lost: dict[str, str | None] = {}
    unread = 0
    for damage in heap.doubtful:
        digest = record_in(damage.file)
        if digest is not None:
            lost[digest] = None
        else:
            unread += not names_object(damage.file)
    source = ", ".join(PurePath(folder).name or folder for folder in question.folders)
    return LeftOut(source[:NAME], {**lost, **joined.left_out}, unread)


def _unused(damages: Iterable[Damage], *, proven: bool) -> tuple[UnusedFile, ...]:
    return tuple(UnusedFile(damage.file, damage.text, proven) for damage in damages)
