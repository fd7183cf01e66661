"""The one face of the room: a vault opened, asked, and written to under its lock."""

from __future__ import annotations

import errno
import os
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from parambak.errors import ParambakError, VaultDamaged
from parambak.memory.digests import sha256
from parambak.memory.findings import Finding
from parambak.vault import objects, persons, records, vault_toml
from parambak.vault.faults import (
    CLOCK_BACKWARDS,
    GONE,
    HISTORY_CUT,
    MISSING_OBJECT,
    MISSING_RECORD,
    OWN_DAMAGED,
    OWN_NOT_WRITTEN,
)
from parambak.vault.files import disk
from parambak.vault.files.file_system import Storage
from parambak.vault.files.lock import locked
from parambak.vault.folder import LOCK, identity_in, refuse_unless_new
from parambak.vault.index.index import ABOUT_COPIES, Index
from parambak.vault.order import heads, lasting
from parambak.vault.own import VAULT, Own
from parambak.vault.records import FOLDER as RECORDS
from parambak.vault.records import Record, Stored, clock_of, decode, encode, file_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from parambak.vault.files.lock import Held
    from parambak.vault.records import Link

__all__ = ["Record", "Stored", "Vault", "Writing"]

# Nanoseconds: a younger empty file may be one that is being copied in.
OLD = 60_000_000_000
CLOCK_SLACK = 120  # seconds by which two laptops' clocks may differ without a word


class Vault:
    """One vault, open. Reading takes no lock; `writing` does.

    `root` is its folder, `identity` its own 32 hexadecimal digits, `made` whether it is new.
    A new one comes into being on the disk with the first `writing`, so that what is refused
    before leaves no trace.
    """

    def __init__(  # noqa: PLR0913 - what a vault is opened with
        self,
        root: Path,
        identity: str,
        *,
        own: Own,
        clock: Callable[[], datetime],
        made: bool,
        cache: Path | None = None,
    ) -> None:
        self.root = root
        self.identity = identity
        self.made = made
        self._to_make = made
        self._own = own
        self._clock = clock
        self.storage = Storage(root)
        self._index = Index(self.storage, identity, self._nanoseconds, cache)
        self._names: dict[str, str] = {}
        self._findings: list[Finding] = []
        self._noted: Mapping[str, Sequence[str]] = {}  # this user's note of the newest records
        self._command: str | None = None

    @classmethod
    def open(
        cls,
        root: Path,
        *,
        own: Path,
        clock: Callable[[], datetime],
        create: bool = False,
        cache: Path | None = None,
    ) -> Vault:
        """Open the vault at `root`; with `create`, a missing or empty folder becomes one.

        `own` is the user's own folder, made when first needed; `clock` returns an aware
        local time; `cache` is the folder for the index of a vault on a stick or a share,
        None to keep it with the vault. Raises VaultRefused if there is no vault, none that
        this version reads, or one that the system will not let be read.
        """
        root, own_folder = Path(root), Own(Path(own))
        data = vault_toml.read(root)
        if data is None:
            refuse_unless_new(root, create=create)
            identity = os.urandom(16).hex()
            return cls(root, identity, own=own_folder, clock=clock, made=True, cache=cache)
        identity = identity_in(root, data)
        vault = cls(root, identity, own=own_folder, clock=clock, made=False, cache=cache)
        vault._index.refresh()
        vault._look_around(data)
        return vault

    def close(self) -> None:
        """Close the index's file; without this, Windows cannot remove it."""
        self._index.close()

    # --- what is asked ---

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """The warnings so far, which do not stop: it can grow while writing."""
        return (*self._findings, *self._index.findings)

    @property
    def gone(self) -> tuple[str, ...]:
        """Files of records that were here when the index last looked, and are no longer."""
        return tuple(sorted(file_of(digest) for digest in self._index.gone))

    @property
    def unread(self) -> dict[str, str]:
        """The records whose files cannot be read as records, each with the reason.

        An empty file that nobody ever relied on is not one of them.
        """
        harmless = self.unacknowledged(self._index.empty) if self._index.empty else set()
        return {d: why for d, why in self._index.skipped.items() if d not in harmless}

    def cut(self, vessel: str | None) -> tuple[str, ...]:
        """Return the missing ones of the newest records about a vessel, by this user's note."""
        noted = self._noted.get(vessel or VAULT, ())
        return tuple(digest for digest in noted if not self._index.holds(digest))

    def unsound(self, vessel: str | None) -> dict[str, str]:
        """Return the records about a vessel whose files are wrong now, each with the reason.

        Every file is read and hashed; the index may still hold what such a record states.
        """
        return self._index.unsound(vessel)

    @property
    def writer(self) -> str:
        """This user's identity as a writer, 32 hexadecimal digits; made at its first use."""
        return self._own.writer(self._now())

    def rebuild(self) -> int:
        """Throw the index away and build it again from the records; return how many there are."""
        return self._index.rebuild()

    @property
    def folder_mark(self) -> str | None:
        """The digest that distinguishes this folder, as this user has it, from other copies.

        None if nothing was written from here yet, or the folder is not there.
        """
        writer, stamp = self._own.known_writer(), disk.stamp_of(self.root)
        if writer is None or stamp is None:
            return None
        path = os.fsencode(self.root.resolve()).decode("utf-8", "backslashreplace")
        return sha256(records.canonical([writer, self.identity, path, str(stamp.inode)]))

    def vessels(self) -> tuple[str, ...]:
        """Return the identities of the vessels that have records, in order."""
        return self._index.vessels()

    @property
    def changes(self) -> int:
        """A number that is another once what is asked here may have another answer."""
        return self._index.changes

    def telling(self) -> dict[str, list[Stored]]:
        """Return for each vessel the few records that are about it itself or are after nothing.

        In no order. A record is about its vessel if a member `id` is the vessel's.
        """
        return self._index.telling()

    def holds(self, digest: str) -> bool:
        """Return whether a record is, or was when the index last read it, in the vault."""
        return self._index.holds(digest)

    def unacknowledged(self, digests: Iterable[str]) -> set[str]:
        """Return those of these records that nobody was stated were written.

        No record names them anywhere, no index held them, and this user did not write them
        last. A record of no bytes can never be right: FAT may leave one of a write that lost
        its power, and then it is no damage. formats/vault.md, "Writing".
        """
        last = self._own.last(self.identity)
        if last is None:  # not recorded: any may be among them
            return set()
        noted = {digest for newest in last.values() for digest in newest}
        unnamed = {d for d in digests if d not in noted and not self.holds(d)}
        for vessel in (None, *self.vessels()) if unnamed else ():
            for stored in self.records(vessel):
                body = records.canonical(stored.record.body).decode() if unnamed else ""
                unnamed -= {d for d in unnamed if d in stored.record.after or d in body}
        return unnamed

    def missing_records(self) -> tuple[str, ...]:
        """Return the digests that some record is after and that no record here has."""
        return self._index.missing()

    def chain(self, vessel: str) -> tuple[Link, ...]:
        """Return what each record about a vessel is after, in causal order."""
        return self._index.chain(vessel)

    def vessels_with(self, kind: str) -> tuple[str, ...]:
        """Return the identities of the vessels that have records of one kind, in order."""
        return self._index.vessels_with(kind)

    def of_kind(self, vessel: str | None, kind: str) -> list[Stored]:
        """Return the records of one kind about a vessel or the vault itself, in no order."""
        return self._index.of_kind(vessel, kind)

    def records(self, vessel: str | None) -> tuple[Stored, ...]:
        """Return the records about a vessel (None: about the vault itself), in causal order."""
        return self._index.records(vessel)

    def read_object(self, digest: str) -> bytes:
        """Return an object's bytes, hashed at this moment; VaultDamaged if wrong or missing."""
        return objects.read(self.root, digest)

    def has_object(self, digest: str) -> bool:
        """Return whether an object's file is there; its bytes are not looked at."""
        return objects.has(self.root, digest)

    def person(self, mark: str) -> str:
        """Return the name behind a mark; VaultDamaged if its object is wrong or missing."""
        if mark not in self._names:
            data = objects.read(self.root, mark)
            self._names[mark] = persons.decode(data, str(self.root / objects.file_of(mark)))
        return self._names[mark]

    # --- writing ---

    def begin_command(self) -> None:
        """Let what is written from now on be one command's records, apart from those before."""
        self._command = None

    @property
    def command(self) -> str:
        """What the records of the command at work have in common; made at its first use."""
        if self._command is None:
            self._command = self._own.next_command(self._nanoseconds() // 1_000_000)
        return self._command

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """Hold the writers' lock, see what others wrote, and hand out the means to write.

        If the block fails, objects that no record names are removed again.
        """
        self._own.writer(self._now())  # refused here rather than half way
        made: list[Path] = []
        try:
            disk.make_folder(self.root, made)
        except OSError as error:
            disk.unmake(made)
            raise disk.write_refusal(error, self.root) from error
        with self._locked(made) as held:
            writing = Writing(self, self._index, self._clock, self._own, held)
            if held.unproven:
                self._prove()
                held.unproven = False
            self._settle(writing)
            try:
                yield writing
            except BaseException:
                writing.undo()
                raise
            finally:
                self._remember(writing)

    @contextmanager
    def _locked(self, made: list[Path]) -> Iterator[Held]:
        lock = self.root / LOCK
        try:
            with locked(lock, self._now()) as held:
                yield held
        except BaseException:
            if made and disk.names_in(self.root) == [LOCK]:
                disk.remove(lock)
            disk.unmake(made)
            raise

    def _prove(self) -> None:
        """Flush what a writer that was stopped may have left: later records rely on it."""
        try:
            disk.flush_folders(self.root, (objects.FOLDER, RECORDS))
        except OSError as error:
            raise disk.write_refusal(error, self.root) from error

    def _settle(self, writing: Writing) -> None:
        """Under the lock: make the vault if it is new, else read what came after the last look."""
        disk.sweep(self.root)
        data = vault_toml.read(self.root)
        if data is None:
            refuse_unless_new(self.root, create=self._to_make)
            data = vault_toml.encode(self.identity)
            disk.remove(self.root / vault_toml.FILE)  # an empty file is no vault.toml
            with writing.proving():
                disk.write_sealed(self.root / vault_toml.FILE, data)
            fresh = True
        else:
            if self._to_make:  # another process was quicker
                self._adopt(vault_toml.identity_of(data, self.root / vault_toml.FILE))
            self._index.refresh()
            self._remove_empty()
            fresh = not self._index.vessels() and not self._index.records(None)
        if fresh:  # new, or interrupted while it was made
            try:
                writing.add(
                    vault_toml.FIRST, None, {"vault": self.identity, "vault_toml": sha256(data)}
                )
            except BaseException as error:
                stood = isinstance(error.__cause__, disk.UnprovenError)  # and may come back
                if self._to_make and not stood and not disk.names_in(self.root / RECORDS):
                    disk.remove(self.root / vault_toml.FILE)
                raise
        self._to_make = False

    def _remove_empty(self) -> None:
        """Remove the empty files of records that were never acknowledged; under the lock."""
        now = self._nanoseconds()
        for digest in sorted(self.unacknowledged(self._index.empty)):
            path = self.root / file_of(digest)
            with suppress(OSError):  # it stays, and is remarked on
                status = path.stat()
                if not status.st_size and now - status.st_mtime_ns > OLD:
                    disk.remove(path)

    def _adopt(self, identity: str) -> None:
        self.made = self._to_make = False
        self.identity = identity
        self._index.identify(identity)

    def _remember(self, writing: Writing) -> None:
        if writing.changed:
            of_vessel = self._index.records
            self._note({v or VAULT: lasting(of_vessel(v), ABOUT_COPIES) for v in writing.changed})
            with suppress(OSError):
                writing.note_flushed()

    def _note(self, newest: Mapping[str, Sequence[str]]) -> None:
        """Note the newest records of some vessels in the user's own folder.

        One that is missing stays noted, so that the cut is reported again.
        """
        last = self._own.last(self.identity) or {}
        for vessel, digests in newest.items():
            missing = (d for d in last.get(vessel, ()) if not self._index.holds(d))
            last[vessel] = sorted({*digests, *missing})
        self._noted = last
        try:
            self._own.remember(self.identity, last)
        except OSError as error:
            text = f"This user's note of the newest records was not written: {disk.words(error)}."
            self.say(OWN_NOT_WRITTEN, text)

    # --- warnings ---

    def say(self, code: str, text: str) -> None:
        """Add a warning, once."""
        finding = Finding(code, text)
        if finding not in self._findings:
            self._findings.append(finding)

    def _look_around(self, data: bytes) -> None:
        doubt = vault_toml.doubt_of(data, self.identity, self.of_kind(None, vault_toml.FIRST))
        if doubt is not None:
            self.say(doubt, vault_toml.DOUBTS[doubt])
        last = self._own.last(self.identity)
        if last is None:
            self.say(OWN_DAMAGED, "This user's note of the newest records cannot be read.")
        self._noted = last or {}
        gone: dict[str, list[str]] = {}
        for digest in self._index.gone.keys() - self.missing_records():
            gone.setdefault(self._index.gone[digest] or VAULT, []).append(digest)
        if gone:
            self._note(gone)  # nothing else shows tomorrow that they were here
        for vessel in self._noted:
            about = "the vault itself" if vessel == VAULT else f"vessel {vessel}"
            for digest in self.cut(None if vessel == VAULT else vessel):
                self.say(
                    HISTORY_CUT,
                    f"{file_of(digest)}, one of the newest records about {about}, is not in this "
                    "vault: it is an older copy, or its history was cut short.",
                )

    def _nanoseconds(self) -> int:
        return int(self._clock().timestamp() * 1e9)

    def _now(self) -> str:
        return clock_of(self._clock()).utc


class Writing:
    """The means to write, while the lock is held: objects first, then the record."""

    def __init__(
        self, vault: Vault, index: Index, clock: Callable[[], datetime], own: Own, held: Held
    ) -> None:
        self._vault = vault
        self._index = index
        self._clock = clock
        self._writer = vault.writer
        self._held = held
        self._unnamed: set[str] = set()
        self._proven: set[str] = set()
        self._flushed = own.flushed(vault.storage)
        self.changed: set[str | None] = set()  # vessels with new records that count everywhere

    def put(self, data: bytes, *, again: bool = True) -> str:
        """Write an object and return its digest; one that is there is hashed, and repaired.

        `again` is whether other reads are likely to put it too, for example a layout: then it
        is noted that it needs no flush there.
        """
        digest = sha256(data)
        if digest in self._proven:  # written or flushed in this writing already
            return digest
        with self.proving():
            digest, new = objects.put(self._vault.root, data, self._flushed.flush)
        if new:
            self._unnamed.add(digest)
        if again:
            self._flushed.note(self._vault.root / objects.file_of(digest))
        self._proven.add(digest)
        return digest

    def note_flushed(self) -> None:
        """Note what was flushed, so that it is not flushed again the next time."""
        self._flushed.keep()

    def _rely_on(self, digest: str) -> None:
        """Make sure that an object is there, and that it outlasts a power failure."""
        if digest in self._proven:
            return
        if not self._vault.has_object(digest):
            raise MISSING_OBJECT.error(file=objects.file_of(digest), expected=digest)
        path = self._vault.root / objects.file_of(digest)
        try:
            self._flushed.flush(path)
        except OSError as error:
            raise disk.write_refusal(error, path) from error
        self._proven.add(digest)

    def person(self, name: str, vessel: str | None) -> str:
        """Return the mark of a person; the one already among the vessel's records, if any."""
        for mark in sorted({s.record.by for s in self._index.records(vessel) if s.record.by}):
            try:
                if self._vault.person(mark) == name:
                    return mark
            except VaultDamaged:
                continue  # a damaged name is rechecked elsewhere, and does not stop a read
        return self.put(persons.encode(name))

    def add(
        self,
        kind: str,
        vessel: str | None,
        body: dict[str, Any],
        *,
        by: str | None = None,
        relies_on: Iterable[str] = (),
    ) -> str:
        """Write a record and return its digest.

        `relies_on` names every object that the record's meaning needs (`by` is added to
        them); all must be in the vault. Raises VaultDamaged if one is missing,
        VaultRefused if the body breaks a rule or the disk refuses.
        """
        needed = sorted({*relies_on, *([by] if by else [])})
        for digest in needed:
            self._rely_on(digest)
        newest = heads(self._index.records(vessel))
        record = Record(
            format=1,
            kind=kind,
            vessel=vessel,
            after=tuple(sorted(stored.digest for stored in newest)),
            clock=clock_of(self._clock()),
            writer=self._writer,
            by=by,
            command=self._vault.command,
            objects=tuple(needed),
            body=body,
        )
        digest, data = encode(record)
        self._compare_clocks(record, newest)
        self._write(file_of(digest), data, needed)
        self._index.add(Stored(digest, record, file_of(digest)), data)
        if kind not in ABOUT_COPIES:
            self.changed.add(vessel)
        return digest

    def take_record(self, digest: str, data: bytes, *, incomplete: bool = False) -> bool | None:
        """Keep a record that was written elsewhere, byte for byte, under its digest.

        Returns how its file was: right, wrong (now repaired), or None: not there. All its
        objects, and the records that it is `after`, must be in the vault unless `incomplete`.
        Raises VaultDamaged if they are not or the bytes are not a record of that name.
        """
        record = decode(data, digest)
        file = file_of(digest)
        for needed in () if incomplete else record.objects:
            if not self._vault.has_object(needed):
                raise MISSING_OBJECT.error(file=objects.file_of(needed), expected=needed)
        for parent in () if incomplete else record.after:
            if not self._index.holds(parent):
                raise MISSING_RECORD.error(file=file_of(parent), expected=parent)
        standing = disk.holds(self._vault.root / file, digest, records.MAX_BYTES)
        if not standing:
            for needed in filter(self._vault.has_object, record.objects):
                self._rely_on(needed)
            self._write(file, data, record.objects, repair=standing is False)
            self._index.add(Stored(digest, record, file), data)
            self.changed.add(record.vessel)
        return standing

    def keep(self, digest: str) -> None:
        """Let an object stay, also if the rest fails."""
        self._unnamed.discard(digest)

    def drop(self, digests: Iterable[str]) -> set[str]:
        """Remove, and return, those of these objects that are new and that no record names."""
        dropped = self._unnamed.intersection(digests)
        for digest in dropped:
            path = self._vault.root / objects.file_of(digest)
            disk.remove(path)
            disk.unmake([path.parent])
        self._unnamed -= dropped
        self._proven -= dropped
        return dropped

    def _write(
        self, file: str, data: bytes, needed: Iterable[str], *, repair: bool = False
    ) -> None:
        """Write the record's file; from here on its objects must not be removed."""
        named = self._unnamed.intersection(needed)
        self._unnamed -= named
        try:
            with self.proving():
                disk.write_sealed(self._vault.root / file, data, repair=repair)
        except ParambakError as refusal:
            if not isinstance(refusal.__cause__, disk.UnprovenError):
                self._unnamed |= named  # the record never stood under its name
            raise

    @contextmanager
    def proving(self) -> Iterator[None]:
        """Leave a note for the next writer if a file is in place whose folder was not flushed.

        If a stick was pulled out, nothing is written into what is left at its path, and
        nothing that was written there counts.
        """
        if not self._held.stands():
            raise self._gone()
        try:
            yield
            if not self._held.stands():
                raise self._gone() from disk.UnprovenError(errno.ENODEV, "No such device")
        except ParambakError as refusal:
            if isinstance(refusal.__cause__, disk.UnprovenError):
                self._held.unproven = True
            raise

    def _gone(self) -> ParambakError:
        found = "its folder is gone, or another folder is at its path"
        return GONE.error(file=str(self._vault.root), found=found)

    def undo(self) -> None:
        """Take away the objects that were new here and that no record names."""
        if self._held.stands():
            self.drop(frozenset(self._unnamed))

    def _compare_clocks(self, record: Record, newest: Iterable[Stored]) -> None:
        now = datetime.fromisoformat(record.clock.utc)
        for stored in newest:
            then = stored.record.clock.utc
            behind = (datetime.fromisoformat(then) - now).total_seconds()
            same_writer = stored.record.writer == self._writer
            if behind > (0 if same_writer else CLOCK_SLACK):
                self._vault.say(
                    CLOCK_BACKWARDS,
                    f"This computer's clock shows {record.clock.utc}, earlier than {then} in a "
                    "record that is already there. The order of the records does not depend on it.",
                )
