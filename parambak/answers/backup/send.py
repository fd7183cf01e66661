"""What a backup location lacks is sent there, what is there is hashed, either side is repaired."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.backup.locations import handles, opened
from parambak.answers.forms import DAMAGED, NO, YES, Answer, FileNote, Part, Question
from parambak.answers.unpack import namesakes
from parambak.keeping.recording.backups import send_to
from parambak.keeping.state.backups import find_backup
from parambak.vault.locations.address import kept_address
from parambak.vault.locations.fetch import GONE
from parambak.vault.records import clock_of

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.backups import BackupLocation
    from parambak.vault.locations.send import Sent


class BackupSendQuestion(Question["BackupSendAnswer"], frozen=True):
    """The backup location's name; `at` is its address today, None for the one on record.

    `both_ways` takes in what the location has and the vault has not; `quick` trusts the sizes of
    what is there.
    """

    name: str
    at: str | None = None
    both_ways: bool = False
    quick: bool = False


class AddedShown(Part, frozen=True):
    """How many records and objects came into the vault."""

    records: int
    objects: int


class HeldShown(Part, frozen=True):
    """What the location holds of one vessel; `missing` are records not whole there."""

    vessel: str
    records: int
    objects: int
    missing: tuple[str, ...]


class BackupSendAnswer(Answer, frozen=True):
    """What was sent, what was there already, what was repaired on either side.

    `added` is null unless both ways were asked for; `unknown` counts the records there that
    this vault has not.
    """

    location: str
    sent: int
    there: int
    hashed: bool
    repaired_there: tuple[str, ...]
    repaired_here: tuple[str, ...]
    added: AddedShown | None
    unknown: int
    held: tuple[HeldShown, ...]
    refused: tuple[FileNote, ...]

    @property
    def exit_code(self) -> int:
        """Return 3 where the vault is damaged and was not repaired, 1 where not all was sent."""
        if any(file.text == GONE for file in self.refused):
            return DAMAGED
        return NO if self.refused else YES


def answer(session: Session, question: BackupSendQuestion) -> BackupSendAnswer:
    """Send to a backup location; what was proven till then is on record where it breaks off.

    Raise NotFound or CallRefused for the name or the address, VaultRefused where the location
    is not there, is another one or fails on the way.
    """
    vault = session.vault
    location = find_backup(vault, question.name)
    address = location.address
    if question.at:
        address = kept_address(question.at, session.folders.vault_folder)
    with opened(session, address) as store, session.progress("sending") as progress:
        sent, notes = send_to(
            vault,
            store,
            location,
            now=session.clock,
            since=clock_of(session.clock()).utc,
            progress=progress,
            quick=question.quick,
            both_ways=question.both_ways,
        )
    session.note(*notes)
    if sent.fetched and sent.fetched.records:
        session.note(*namesakes(session.fleet()))
    _note_identities(session, location)
    return _shown(session, location, sent, hashed=not question.quick)


def _shown(
    session: Session, location: BackupLocation, sent: Sent, *, hashed: bool
) -> BackupSendAnswer:
    names = handles(session)
    taken = sent.fetched
    return BackupSendAnswer(
        location=location.handle,
        sent=sent.sent,
        there=sent.there,
        hashed=hashed,
        repaired_there=sent.repaired_there,
        repaired_here=sent.repaired_here,
        added=AddedShown(taken.records, taken.objects) if taken else None,
        unknown=sent.unknown,
        held=tuple(
            HeldShown(names.get(p.vessel, p.vessel), p.records, p.objects, p.incomplete)
            for p in sent.proven
        ),
        refused=tuple(FileNote(damage.file, damage.text) for damage in sent.refused),
    )


def _note_identities(session: Session, location: BackupLocation) -> None:
    """Note each vessel that is sent there under some of its identities only."""
    limited = location.vessels
    for ship in session.fleet().vessels if limited is not None else ():
        if limited is not None and ship.ids & limited and not ship.ids <= limited:
            session.note(
                f"{ship.handle} now has one more identity, which is not sent to {location.name}. "
                "`parambak backup add` with the same name and address sends it too"
            )
