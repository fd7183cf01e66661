"""What is in records/, without reading all of it at each command.

Two parts: a database (tables.py) for the many records, and the few that are newer than it,
held in memory as read from their files. The database is written only when those become more
than `LOOSE`, so a small vault has none and a record costs no flush of it. How the
index learns of records that were merely copied in: formats/vault.md, "The index".
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from parambak.errors import ParambakError, VaultDamaged
from parambak.memory.digests import sha256
from parambak.memory.findings import Finding
from parambak.vault import records
from parambak.vault.faults import (
    HISTORY_GAP,
    INDEX_ASIDE,
    INDEX_FAILED,
    INDEX_REBUILT,
    RECORD_SKIPPED,
    RECORD_VANISHED,
    UNREADABLE,
    Mistrusted,
)
from parambak.vault.files import disk
from parambak.vault.order import causal_order, heads
from parambak.vault.records import Link, Links, Stored, When, file_of, tells_of_vessel

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

    from parambak.vault.files.disk import Stamp
    from parambak.vault.files.file_system import Storage
    from parambak.vault.index.tables import Database

    T = TypeVar("T")

FILE = "index.sqlite"
LOOSE = 64  # records outside the database, read from their files at each opening
SMALL = 512  # records up to which every folder is listed at each opening
NEEDLESS = 16  # folders listed for nothing until their stamps are worth writing down
SETTLED = 3_000_000_000  # nanoseconds: a folder's time may be 2 s coarse (FAT)
MOST_ORDERED = 4  # vessels whose records stay in memory after their first use
SHOWN = 5  # of each kind of finding, so that a lost disk does not fill the screen
# Records about one copy of the vault: if another copy does not have them, its history is not cut.
ABOUT_COPIES = frozenset({"held", "recheck", "vault"})
_CHUNK = 256
_UNSETTLED = disk.Stamp(-1, 0)


class IndexFile(NamedTuple):
    """The index's file; a digest of the vault's folder if the index is elsewhere, else "".

    `folder_times` is whether the times of the vault's folders may be believed.
    """

    path: Path
    folder: str
    folder_times: bool

    def make(self) -> None:
        """Make the folder of an index that lies apart from its vault; raises OSError."""
        if self.folder:
            disk.make_folder(self.path.parent, [])


def index_file(storage: Storage, identity: str, cache: Path | None) -> IndexFile:
    """Return where a vault's index lies; `cache` is the user's folder for those on sticks.

    Two copies of one vault share its identity and may hold different records, so the folder
    is part of the name in the cache.
    """
    root = storage.root
    if cache is None or not storage.stick_or_share:
        return IndexFile(root / FILE, "", folder_times=True)
    name = sha256(f"{identity}\n{root.resolve()}".encode("utf-8", "surrogateescape"))
    return IndexFile(cache / f"{name[:32]}.sqlite", name, folder_times=False)


class Index:
    """The records of one vault: the files of its folder whose content fits their names.

    `now` returns the time in nanoseconds since 1970, as the file system counts it; `cache` is
    the folder for the database of a vault on a stick or a share. `findings` is what was noted
    on the way; `gone` the digests of records that vanished since the index saw them, each with the
    vessel that it was about; `skipped` those whose files cannot be read as records, and why;
    `empty` those of them whose files are empty;
    `changes` is another number once what the index answers may be another answer.
    """

    def __init__(
        self, storage: Storage, identity: str, now: Callable[[], int], cache: Path | None = None
    ) -> None:
        self._storage = storage
        self._root = root = storage.root
        self._records = f"{root}/{records.FOLDER}"  # a Path costs as much as what is asked of it
        self._now = now
        self._identity = identity
        self._cache = cache
        self._index_file: IndexFile | None = None
        self._database: Database | None = None
        self._passing = False  # whether the database is kept for this process alone
        self._version = 0
        self._loose: dict[str, Stored] = {}
        self._loose_telling: set[str] = set()
        self._stamps: dict[str, Stamp] = {}
        self._ordered: dict[str, tuple[Stored, ...]] = {}
        self._telling: dict[str, list[Stored]] | None = None
        self.skipped: dict[str, str] = {}
        self._sound: dict[str, set[str]] = {}
        self.changes = 0
        self.findings: list[Finding] = []
        self.gone: dict[str, str | None] = {}
        self.empty: set[str] = set()

    def close(self) -> None:
        """Close the database's file."""
        if self._database is not None:
            self._database.close()
            self._database = None
            self._passing = False

    def identify(self, identity: str) -> None:
        """Take another vault's identity; only while nothing has been looked at."""
        self._identity = identity
        self._index_file = None

    @property
    def _file(self) -> IndexFile:
        if self._index_file is None:
            self._index_file = index_file(self._storage, self._identity, self._cache)
        return self._index_file

    # --- what is asked ---

    def records(self, vessel: str | None) -> tuple[Stored, ...]:
        """Return the records about a vessel, or about the vault itself, in causal order."""
        key = vessel or ""
        if key not in self._ordered:
            ordered = causal_order(self.of_kind(vessel, None))
            while len(self._ordered) >= MOST_ORDERED:
                self._ordered.pop(next(iter(self._ordered)))
            self._ordered[key] = ordered
        return self._ordered[key]

    def of_kind(self, vessel: str | None, kind: str | None) -> list[Stored]:
        """Return the records of one kind (None: all) about a vessel or the vault, in no order."""
        return self._trying(lambda: self._gather(vessel, kind))

    def _gather(self, vessel: str | None, kind: str | None) -> list[Stored]:
        stored = [_stored_of(*row) for row in self._rows(vessel, kind)]
        if any(s.record.vessel != vessel or kind not in (None, s.record.kind) for s in stored):
            raise Mistrusted("a record in it is not of the vessel or kind", damaged=True)
        loose = self._loose_about(vessel)
        return [*(s for s in loose if kind in (None, s.record.kind)), *stored]

    def chain(self, vessel: str) -> tuple[Link, ...]:
        """Return the links of all records about a vessel, in causal order; quicker than those."""
        if vessel in self._ordered:
            return tuple(map(_link_of, self._ordered[vessel]))
        return causal_order(self._trying(lambda: self._gather_links(vessel)))

    def _gather_links(self, vessel: str) -> list[Link]:
        rows = self._rows(vessel, None)
        stored = [Link(digest, _trusted(records.links_of, data)) for digest, data in rows]
        return [*map(_link_of, self._loose_about(vessel)), *stored]

    def _rows(self, vessel: str | None, kind: str | None) -> list[tuple[str, bytes]]:
        """Return digest and bytes of each such record that only the database has."""
        rows = self._database.records(vessel or "", kind) if self._database else []
        return [row for row in rows if row[0] not in self._loose]

    def _loose_about(self, vessel: str | None) -> Iterator[Stored]:
        return (stored for stored in self._loose.values() if stored.record.vessel == vessel)

    def telling(self) -> dict[str, list[Stored]]:
        """Return for each vessel the records that are about it itself or are after nothing.

        In no order. Of a vessel whose first record is gone there may be none.
        """
        if self._telling is None:
            telling: dict[str, list[Stored]] = {vessel: [] for vessel in self.vessels()}
            for stored in self._trying(self._gather_telling):
                telling.setdefault(stored.record.vessel or "", []).append(stored)
            self._telling = telling
        return self._telling

    def _gather_telling(self) -> list[Stored]:
        telling = [self._loose[digest] for digest in self._loose_telling]
        for vessel, digest, data in self._database.telling() if self._database else ():
            if not tells_of_vessel(data, vessel):
                raise Mistrusted("a record in it does not describe its vessel", damaged=True)
            if digest not in self._loose:
                telling.append(_stored_of(digest, data))
        return telling

    def vessels_with(self, kind: str) -> tuple[str, ...]:
        """Return the identities of the vessels that have records of one kind, in order."""
        vessels = set(self._asking(lambda database: database.vessels_with(kind)) or ())
        vessels.update(s.record.vessel or "" for s in self._loose.values() if s.record.kind == kind)
        return tuple(sorted(vessels - {""}))

    def vessels(self) -> tuple[str, ...]:
        """Return the identities of all vessels, in order."""
        vessels = set(self._asking(lambda database: database.vessels()) or ())
        vessels.update(s.record.vessel for s in self._loose.values() if s.record.vessel)
        return tuple(sorted(vessels))

    def holds(self, digest: str) -> bool:
        """Return whether the index has a record."""
        if digest in self._loose:
            return True
        return self._asking(lambda database: database.holds(digest)) is True

    def missing(self) -> tuple[str, ...]:
        """Return the digests that some record is `after` and that no record has."""
        named = set(self._asking(lambda database: database.missing()) or ())
        named.update(d for s in self._loose.values() for d in s.record.after)
        return tuple(sorted(digest for digest in named if not self.holds(digest)))

    def unsound(self, vessel: str | None) -> dict[str, str]:
        """Return the records about a vessel whose files are wrong now, each with the reason.

        Those that this process read from their files are not read again.
        """
        key = vessel or ""
        sound = self._sound.pop(key, set())
        while len(self._sound) >= MOST_ORDERED:
            self._sound.pop(next(iter(self._sound)))
        self._sound[key] = sound
        wrong = {}
        for stored in self.records(vessel):
            if stored.digest in sound or stored.digest in self._loose:
                continue
            why = self._fault_of(stored)
            if why is None:
                sound.add(stored.digest)
            else:
                wrong[stored.digest] = why
        return wrong

    def _fault_of(self, stored: Stored) -> str | None:
        """Return what is wrong with a record's file now, None if it is right."""
        path = f"{self._root}/{stored.file}"
        try:
            if _bytes_of(path, stored.digest)[1]:
                return None
        except OSError as error:
            return disk.words(error)
        return "its bytes are not those that its name states"

    # --- keeping up with the folder ---

    def add(self, stored: Stored, data: bytes) -> None:
        """Take up a record that was just written, and its bytes."""
        self._hold(stored, data)
        self.changes += 1
        key = stored.record.vessel or ""
        telling = self._telling or {}
        if key and (key not in telling or stored.digest in self._loose_telling):
            self._telling = None
        before = self._ordered.pop(key, None)
        if before is not None and {s.digest for s in heads(before)} == {*stored.record.after}:
            self._ordered[key] = (*before, stored)  # behind all others
        if self._database is not None:
            self._watch_times(stored.digest[:2])
        if len(self._loose) > 8 * LOOSE:
            self.refresh()

    def refresh(self) -> None:
        """Find the records that came or went since the index last looked."""
        self.skipped.clear()
        self.empty.clear()
        if self._database is None and disk.is_file(self._file.path):
            self._trying(self._open)
            self._changed()
        self._trying(self._survey)
        version = self._asking(lambda database: database.version())
        if version is not None and version != self._version:
            self._version = version
            self._changed()  # another process wrote into it, or this one
        self._say(
            HISTORY_GAP, self.missing(), "is named by a later record and is not in the vault."
        )

    def _changed(self) -> None:
        self._ordered.clear()
        self._telling = None
        self.changes += 1

    def _hold(self, stored: Stored, data: bytes) -> None:
        self._loose[stored.digest] = stored
        if stored.record.vessel and tells_of_vessel(data, stored.record.vessel):
            self._loose_telling.add(stored.digest)

    def _survey(self) -> None:
        # Without a database there is nothing that a folder's time could spare.
        self._stamps = disk.stamps_in(self._records) if self._database else {}
        by_times = self._goes_by_times()
        folders = self._folders(changed=by_times)
        new, gone = self._compare(folders, all_of_them=not by_times)
        if new or gone:
            self._changed()
        folding = len(self._loose) + len(new) > LOOSE
        if folding:
            self._fold(folders)
        for digest in () if folding else new:
            read = self._read(digest)
            if read is not None:
                self._hold(*read)
        if gone:
            self._forget(gone)
        if by_times and len(folders) > NEEDLESS and not folding:
            with suppress(Mistrusted):  # only to be quicker the next time
                self._fold(folders)

    def _goes_by_times(self) -> bool:
        """Return whether a folder with an unchanged time is taken to hold the same files."""
        database = self._database
        if database is None or database.count() <= SMALL:
            return False
        return self._file.folder_times and database.folder_times()

    def _folders(self, *, changed: bool) -> list[str]:
        """Return the folders of records that are there or were; or only those `changed`."""
        before = self._database.stamps() if self._database else {}
        present = self._stamps or disk.folders_in(self._records)
        folders = sorted({*present, *before, *(digest[:2] for digest in self._loose)})
        if not changed:
            return folders
        return [name for name in folders if before.get(name, _UNSETTLED) != self._stamps.get(name)]

    def _compare(self, folders: list[str], *, all_of_them: bool) -> tuple[list[str], list[str]]:
        """List folders; return the digests that came, and those that went."""
        # In this order: what another process adds in between is new, never gone.
        held = {digest for digest in self._loose if all_of_them or digest[:2] in folders}
        if self._database is not None:
            held |= self._database.digests(None if all_of_them else folders)
        present: set[str] = set()
        for name in folders:
            present |= self._list(name)
            if not held and len(present) > LOOSE:
                break  # all of them will be listed to fold them
        return sorted(present - held), sorted(held - present)

    def _list(self, folder: str) -> set[str]:
        """Return the digests of which a folder of records has files; none if it is no folder."""
        try:
            names = disk.names_in(f"{self._records}/{folder}")
        except NotADirectoryError:
            return set()
        return {n[:64] for n in names if n.startswith(folder) and records.named_by(n)}

    def _forget(self, gone: list[str]) -> None:
        for digest in gone:
            kind, vessel = self._entry(digest)
            if kind not in ABOUT_COPIES:
                self.gone[digest] = vessel
        self._say(RECORD_VANISHED, gone, "was in the vault and is missing now.")
        for digest in gone:
            self._loose.pop(digest, None)
            self._loose_telling.discard(digest)
        if self._database is not None and any(map(self._database.holds, gone)):
            raise Mistrusted("the files of records in it are missing", damaged=True)

    def _entry(self, digest: str) -> tuple[str, str | None]:
        """Return the kind of a record that the index has, and its vessel."""
        loose = self._loose.get(digest)
        if loose is not None:
            return loose.record.kind, loose.record.vessel
        kind, vessel = self._database.entry(digest) if self._database is not None else ("", "")
        return kind, vessel or None

    def _read(self, digest: str) -> tuple[Stored, bytes] | None:
        """Return a record from its file; None, with a finding, if it is damaged."""
        file = file_of(digest)
        path = f"{self._root}/{file}"
        try:
            data, right = _bytes_of(path, digest)
            record = records.decode(data, None if right else digest)
            return Stored(digest, record, file), data
        except FileNotFoundError:
            return None  # it went after the folder was listed; the next look reports it
        except VaultDamaged as damage:
            self.skipped[digest] = f"found {damage.found}"
            if disk.size_of(path) == 0:
                self.empty.add(digest)
        except OSError as error:
            self.skipped[digest] = disk.words(error)
        except ParambakError as error:  # of a newer format: to go on without it would mislead
            raise error.in_file(path) from None
        return None

    def _watch_times(self, folder: str) -> None:
        """Notice a file system that does not change a folder's time when a name comes in."""
        before = self._stamps.get(folder)
        after = disk.stamp_of(f"{self._records}/{folder}")
        if before is None or before != after or not self._settled(before):
            return
        with suppress(Mistrusted):
            if self._database is not None:
                self._database.doubt_folder_times()

    def _settled(self, stamp: Stamp | None) -> bool:
        """Return whether a folder changed so long ago that a further change shows in its time."""
        return stamp is not None and self._now() - stamp.modified > SETTLED

    # --- the database ---

    def _fold(self, folders: Iterable[str]) -> None:
        """Bring everything that these folders hold into the database."""
        database = self._open()
        self._stamps = self._stamps or disk.stamps_in(self._records)
        with database.changing():
            for name in folders:
                fresh = sorted(self._list(name) - database.digests([name]))
                taken = 0
                for start in range(0, len(fresh), _CHUNK):
                    read = [self._read(digest) for digest in fresh[start : start + _CHUNK]]
                    right = [record for record in read if record is not None]
                    database.add(right)
                    taken += len(right)
                if taken:
                    self._changed()
                stamp = self._stamps.get(name)
                # A folder with a damaged record is looked at each time, until it is repaired.
                sure = stamp is not None and taken == len(fresh) and self._settled(stamp)
                database.stamp(name, stamp if stamp is not None and sure else _UNSETTLED)
        self._loose = {d: s for d, s in self._loose.items() if not database.holds(d)}
        self._loose_telling.intersection_update(self._loose)

    def _open(self) -> Database:
        """Return the database, which may by now be the passing one."""
        if self._database is None:
            try:
                self._file.make()
            except OSError as error:
                raise Mistrusted(disk.words(error), damaged=False) from error
            return self._connect(self._file.path)
        return self._database

    def _connect(self, path: Path | None) -> Database:
        from parambak.vault.index.tables import Database  # noqa: PLC0415 - SQLite is slow to import

        folder = self._file.folder if path else ""
        self._database = Database(path, self._identity, folder)
        self._passing = path is None
        self._version = self._database.version()
        return self._database

    def _asking(self, question: Callable[[Database], T]) -> T | None:
        """Ask the database; None if there is none."""
        return self._trying(lambda: question(self._database) if self._database else None)

    def _trying(self, act: Callable[[], T]) -> T:
        """Do something with the database; if it cannot be trusted, build it again first."""
        try:
            try:
                return act()
            except Mistrusted as verdict:
                self._build_anew(verdict)
            return act()
        except Mistrusted as verdict:
            raise INDEX_FAILED.error(file=str(self._file.path), found=str(verdict)) from verdict
        except OSError as error:
            raise UNREADABLE.error(file=self._records, found=disk.words(error)) from error
        finally:
            self._say_skipped()

    def _build_anew(self, verdict: Mistrusted) -> None:
        """Build the index from the records: at its path, or else for this command alone."""
        passing = self._passing
        self.close()
        self._changed()
        self._stamps = disk.stamps_in(self._records)
        if verdict.damaged and not passing and self._remove():
            self._find(INDEX_REBUILT, f"The index was built again from the records: {verdict}.")
            with suppress(Mistrusted):
                self._fold(self._stamps)
                return
            self.close()
        self._connect(None)
        self._fold(self._stamps)
        text = f"The index cannot be stored here, so all records were read: {verdict}."
        self._find(INDEX_ASIDE, text)

    def rebuild(self) -> int:
        """Remove the index and build it again from the records; return how many it holds."""
        requests = [Mistrusted("by request", damaged=True)]

        def count() -> int:
            if requests:
                raise requests.pop()
            return len(self._loose) + (self._database.count() if self._database else 0)

        return self._trying(count)

    def _remove(self) -> bool:
        path = self._file.path
        # The database last: a journal without its database would be taken for the next one's.
        for tail in ("-journal", "-wal", "-shm", ""):
            disk.remove(path.with_name(path.name + tail))
        return not disk.is_file(path)

    # --- findings ---

    def _say(self, code: str, digests: Iterable[str], text: str) -> None:
        listed = list(digests)
        for digest in listed[:SHOWN]:
            self._find(code, f"{file_of(digest)} {text}")
        if len(listed) > SHOWN:
            self._find(code, f"{len(listed) - SHOWN} more records have the same damage.")

    def _say_skipped(self) -> None:
        for digest, why in sorted(self.skipped.items())[:SHOWN]:
            self._find(RECORD_SKIPPED, f"{file_of(digest)} was left out: {why}.")
        if len(self.skipped) > SHOWN:
            self._find(
                RECORD_SKIPPED, f"{len(self.skipped) - SHOWN} more records were left out too."
            )

    def _find(self, code: str, text: str) -> None:
        finding = Finding(code, text)
        if finding not in self.findings:
            self.findings.append(finding)


def _bytes_of(path: str, digest: str) -> tuple[bytes, bool]:
    """Return a file's bytes, and whether they are those of the digest; else OSError."""
    try:
        data = disk.read_quickly(path, records.MAX_BYTES)
        if sha256(data) == digest:
            return data, True
    except OSError:
        pass  # the slower way shows what is the matter, or waits for a scanner to let go
    return disk.read_file(path, records.MAX_BYTES), False


def _trusted(read: Callable[[bytes], T], data: bytes) -> T:
    """Return what is read of the bytes that the database held, hashed on their way out."""
    try:
        return read(data)
    except ParambakError as error:
        raise Mistrusted("it holds bytes that are not a record", damaged=True) from error


def _stored_of(digest: str, data: bytes) -> Stored:
    return Stored(digest, _trusted(records.decode_checked, data), file_of(digest))


def _link_of(stored: Stored) -> Link:
    """Return the links of a record that is held as a whole."""
    return Link(stored.digest, Links(stored.record.after, When(stored.record.clock.utc)))
