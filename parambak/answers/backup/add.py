"""A second folder, stick or server that is to hold the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.backup.locations import LocationAnswer, members_of, opened
from parambak.answers.forms import Question
from parambak.keeping.recording.backups import add_backup
from parambak.vault.files.file_system import has_fat, on_one_disk
from parambak.vault.files.given import Folder
from parambak.vault.locations.address import kept_address, parse
from parambak.vault.locations.faults import PACKED_ELSEWHERE

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.backups import BackupLocation


class BackupAddQuestion(Question["BackupAddAnswer"], frozen=True):
    """The backup location's name and address; the vessels that it is for, none for all.

    `packed` is for one pack for each vessel; `merge` lets another vault that is there be kept
    together with this one.
    """

    name: str
    address: str
    vessels: tuple[str, ...] = ()
    packed: bool = False
    merge: bool = False


class BackupAddAnswer(LocationAnswer, frozen=True):
    """The backup location that was added."""


def answer(session: Session, question: BackupAddQuestion) -> BackupAddAnswer:
    """Make what is at the address a backup location of the vault.

    Raise CallRefused, NotFound or VaultRefused where it cannot be one.
    """
    address = kept_address(question.address, session.folders.vault_folder)
    if question.packed and not parse(address).is_folder:
        raise PACKED_ELSEWHERE.error(file=address, expected="a folder", found="a server or store")
    with opened(session, address) as store:
        location = add_backup(
            session.vault,
            store,
            name=question.name,
            address=address,
            vessels=question.vessels,
            packed=question.packed,
            merge=question.merge,
        )
    _advise(session, location)
    return BackupAddAnswer(**members_of(session, location))


def _advise(session: Session, location: BackupLocation) -> None:
    """Note what speaks against this location, without standing in its way."""
    address = parse(location.address)
    if not address.is_folder:
        return
    folder = Folder(address.path)
    if on_one_disk(folder, session.folders.vault_folder):
        session.note(
            "this backup location is on the same disk as the vault, and is lost together with it"
        )
    if not location.packed and has_fat(folder):
        session.note(
            "this stick has FAT, where each small file uses a whole cluster. One pack for each "
            f"vessel uses far less: run `parambak backup remove {location.handle}`, then add "
            "another folder on it with --packed"
        )
