"""The index's tables: what SQLite holds, and nothing of how fresh it is (index.py does that).

Nothing in here is the only place of a fact, and nothing is believed: each record's bytes are
hashed on the way out, and each vessel's records are counted. Anything wrong becomes
`Mistrusted`, and the caller builds the index again.
"""

from __future__ import annotations

import sqlite3
import weakref
from collections import Counter
from contextlib import closing, contextmanager, suppress
from typing import TYPE_CHECKING, Any

from parambak.memory.digests import sha256
from parambak.vault.faults import Mistrusted
from parambak.vault.files.disk import Stamp
from parambak.vault.records import MAX_BYTES, tells_of_vessel

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from parambak.vault.records import Stored

APPLICATION = 0x50524D42
SCHEMA = 5  # another number: removed and built again
BUSY_SECONDS = 5.0

_TABLES = """
CREATE TABLE vault (identity TEXT NOT NULL, folder TEXT NOT NULL, folder_times INTEGER NOT NULL);
CREATE TABLE records (digest BLOB NOT NULL UNIQUE, vessel TEXT NOT NULL, kind TEXT NOT NULL,
                      telling INTEGER NOT NULL, bytes BLOB NOT NULL);
CREATE TABLE counts (vessel TEXT NOT NULL, kind TEXT NOT NULL, records INTEGER NOT NULL,
                     telling INTEGER NOT NULL, PRIMARY KEY (vessel, kind)) WITHOUT ROWID;
CREATE TABLE folders (name TEXT PRIMARY KEY, modified INTEGER NOT NULL, inode TEXT NOT NULL)
                     WITHOUT ROWID;
CREATE TABLE missing (digest BLOB PRIMARY KEY) WITHOUT ROWID;
"""
# One step for each vessel; DISTINCT would pass over every record.
_VESSELS = """
WITH RECURSIVE next (vessel) AS (
    SELECT min(vessel) FROM records
    UNION ALL
    SELECT (SELECT min(vessel) FROM records WHERE vessel > next.vessel)
    FROM next WHERE next.vessel IS NOT NULL
)
SELECT vessel FROM next WHERE vessel IS NOT NULL
"""
# A rollback journal, flushed in full: it works on shares and sticks; WAL's shared memory does not.
# the index is written seldom, so its flushes cost little.
_SETTINGS = """
PRAGMA journal_mode = DELETE; PRAGMA synchronous = FULL; PRAGMA trusted_schema = OFF;
PRAGMA temp_store = MEMORY; PRAGMA cache_size = -16384;
"""
# Made after the rows if many come at once: sorted, that takes a third of the time.
_BY_VESSEL = """
CREATE INDEX IF NOT EXISTS by_vessel ON records (vessel, kind);
CREATE INDEX IF NOT EXISTS by_telling ON records (vessel) WHERE telling;
"""
# For an index that exists only while the process runs.
_PASSING = "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;"
# SQLite's names of what is wrong with the surroundings rather than with the file.
_AROUND = ("BUSY", "LOCKED", "READONLY", "FULL", "IOERR", "CANTOPEN", "PERM", "NOMEM")


class Database:
    """One open index; `path` None keeps it in a passing file of the system's.

    It belongs to one vault by `identity`, and if it is stored outside the vault, to the vault in
    `folder`: two copies of one vault may hold different records.
    """

    def __init__(self, path: Path | None, identity: str, folder: str = "") -> None:
        self._counts: Counter[tuple[str, str]] = Counter()
        self._telling: Counter[tuple[str, str]] = Counter()
        with _mistrusting():
            self._sqlite = sqlite3.connect(
                "" if path is None else path, timeout=BUSY_SECONDS, isolation_level=None
            )
        # Closed with the last use of this object too: nothing else keeps count of it.
        weakref.finalize(self, self._sqlite.close)
        try:
            with _mistrusting():
                self._settle(identity, folder, passing=path is None)
        except Mistrusted:
            self.close()
            raise

    def _settle(self, identity: str, folder: str, *, passing: bool) -> None:
        self._sqlite.executescript(_PASSING if passing else _SETTINGS)
        application, schema = self._one("PRAGMA application_id"), self._one("PRAGMA user_version")
        if (application, schema) == (0, 0) and not self._one("SELECT count(*) FROM sqlite_master"):
            self._make(identity, folder)
        elif (application, schema) != (APPLICATION, SCHEMA):
            raise Mistrusted("it is not this version's index", damaged=True)
        elif self._all("SELECT identity, folder FROM vault", ()) != [(identity, folder)]:
            raise Mistrusted("it is another vault's index", damaged=True)

    def _make(self, identity: str, folder: str) -> None:
        self._sqlite.execute("BEGIN IMMEDIATE")
        if not self._one("PRAGMA application_id"):  # else another process was quicker
            for statement in (_TABLES + _BY_VESSEL).split(";"):
                self._sqlite.execute(statement)
            self._sqlite.execute("INSERT INTO vault VALUES (?, ?, 1)", (identity, folder))
            self._sqlite.execute(f"PRAGMA application_id = {APPLICATION}")
            self._sqlite.execute(f"PRAGMA user_version = {SCHEMA}")
        self._sqlite.execute("COMMIT")

    def close(self) -> None:
        """Close the file; the index is of no use afterwards."""
        with suppress(sqlite3.Error):
            self._sqlite.close()

    # --- what is asked ---

    def count(self) -> int:
        """Return the number of records that the index should hold."""
        with _mistrusting():
            return int(self._one("SELECT coalesce(sum(records), 0) FROM counts"))

    def digests(self, folders: Sequence[str] | None) -> set[str]:
        """Return the digests that begin with the names of these folders; None: all."""
        ranges = [("00" * 32, "ff" * 32)]
        if folders is not None:
            ranges = [(name + "00" * 31, name + "ff" * 31) for name in folders]
        question = "SELECT digest FROM records WHERE digest BETWEEN ? AND ?"
        digests: set[str] = set()
        for low, high in ranges:
            rows = self._all(question, (bytes.fromhex(low), bytes.fromhex(high)))
            digests.update(digest.hex() for (digest,) in rows)
        return digests

    def holds(self, digest: str) -> bool:
        """Return whether a record is in the index."""
        return bool(self._all("SELECT 1 FROM records WHERE digest = ?", (bytes.fromhex(digest),)))

    def entry(self, digest: str) -> tuple[str, str]:
        """Return the kind of a record and its vessel ("" the vault); two empty texts without it."""
        question = "SELECT kind, vessel FROM records WHERE digest = ?"
        rows = self._all(question, (bytes.fromhex(digest),))
        return (rows[0][0], rows[0][1]) if rows else ("", "")

    def vessels(self) -> list[str]:
        """Return the identities of all vessels, from two tables that must agree."""
        with self._at_once():
            counted = self._all("SELECT DISTINCT vessel FROM counts ORDER BY vessel", ())
            if counted != self._all(_VESSELS, ()):
                raise Mistrusted("its vessels do not add up", damaged=True)
        return [vessel for (vessel,) in counted if vessel]

    def records(self, vessel: str, kind: str | None = None) -> list[tuple[str, bytes]]:
        """Return digest and bytes of each record about a vessel ("" the vault), hashed.

        Of one kind; None: of all kinds.
        """
        which = "FROM {} WHERE vessel = ?1 AND kind = coalesce(?2, kind)"
        with self._at_once():
            rows = self._all("SELECT digest, bytes " + which.format("records"), (vessel, kind))
            counted = self._all("SELECT sum(records) " + which.format("counts"), (vessel, kind))
        if len(rows) != (counted[0][0] or 0):
            raise Mistrusted("a vessel's records do not add up", damaged=True)
        return [_hashed(digest, data) for digest, data in rows]

    def vessels_with(self, kind: str) -> list[str]:
        """Return the vessels ("" the vault) that have records of one kind."""
        rows = self._all("SELECT vessel FROM counts WHERE kind = ?", (kind,))
        return [vessel for (vessel,) in rows]

    def telling(self) -> list[tuple[str, str, bytes]]:
        """Return vessel, digest and bytes of each record that is about its vessel, hashed."""
        with self._at_once():
            # The index is named, or SQLite would pass over all records.
            rows = self._all(
                "SELECT vessel, digest, bytes FROM records INDEXED BY by_telling WHERE telling", ()
            )
            counted = self._all("SELECT vessel, sum(telling) FROM counts GROUP BY vessel", ())
        by_vessel = Counter(vessel for vessel, _, _ in rows)
        if by_vessel != {vessel: count for vessel, count in counted if count}:
            raise Mistrusted("the number of records that describe vessels is wrong", damaged=True)
        return [(vessel, *_hashed(digest, data)) for vessel, digest, data in rows]

    def version(self) -> int:
        """Return a number that is another once another process has changed the index."""
        with _mistrusting():
            return int(self._one("PRAGMA data_version"))

    def missing(self) -> list[str]:
        """Return the digests that some record is `after` and that no record has."""
        return [digest.hex() for (digest,) in self._all("SELECT digest FROM missing", ())]

    def stamps(self) -> dict[str, Stamp]:
        """Return each folder that holds records, with its stamp when it was last listed."""
        rows = self._all("SELECT name, modified, inode FROM folders", ())
        with _mistrusting():
            return {name: Stamp(modified, int(inode)) for name, modified, inode in rows}

    def folder_times(self) -> bool:
        """Return whether this file system is believed to keep its folders' times."""
        with _mistrusting():
            return bool(self._one("SELECT folder_times FROM vault"))

    # --- what is written ---

    @contextmanager
    def changing(self) -> Iterator[None]:
        """Write everything in the block, or nothing of it."""
        try:
            self._begin()
            yield
            self._end()
        except sqlite3.Error as error:
            raise _verdict(error) from error
        finally:
            with suppress(sqlite3.Error):
                if self._sqlite.in_transaction:
                    self._sqlite.execute("ROLLBACK")

    def _begin(self) -> None:
        self._counts.clear()
        self._telling.clear()
        self._sqlite.execute("CREATE TEMP TABLE IF NOT EXISTS named (digest BLOB)")
        self._sqlite.execute("BEGIN IMMEDIATE")
        if not self._one("SELECT count(*) FROM counts"):
            self._sqlite.execute("DROP INDEX by_vessel")
            self._sqlite.execute("DROP INDEX by_telling")
        self._sqlite.execute("INSERT INTO temp.named SELECT digest FROM missing")

    def _end(self) -> None:
        self._sqlite.executemany(
            "INSERT INTO counts VALUES (?, ?, ?, ?) ON CONFLICT (vessel, kind) DO UPDATE "
            "SET records = records + excluded.records, telling = telling + excluded.telling",
            [(*key, count, self._telling[key]) for key, count in self._counts.items()],
        )
        self._sqlite.execute("DELETE FROM missing")
        self._sqlite.execute(
            "INSERT OR IGNORE INTO missing SELECT digest FROM temp.named "
            "WHERE digest NOT IN (SELECT digest FROM records)"
        )
        self._sqlite.execute("DELETE FROM temp.named")
        for statement in _BY_VESSEL.split(";"):
            self._sqlite.execute(statement)
        self._sqlite.execute("COMMIT")

    def add(self, read: Sequence[tuple[Stored, bytes]]) -> None:
        """Add records, each with its bytes; within `changing`."""
        rows = [_row_of(stored, data) for stored, data in read]
        self._counts.update((vessel, kind) for _, vessel, kind, _, _ in rows)
        self._telling.update((vessel, kind) for _, vessel, kind, telling, _ in rows if telling)
        named = [(bytes.fromhex(digest),) for stored, _ in read for digest in stored.record.after]
        with _mistrusting():
            self._sqlite.executemany("INSERT INTO records VALUES (?, ?, ?, ?, ?)", rows)
            self._sqlite.executemany("INSERT INTO temp.named VALUES (?)", named)

    def stamp(self, name: str, stamp: Stamp) -> None:
        """Keep a folder's stamp; within `changing`."""
        # An inode may pass SQLite's signed 64 bits, so it is kept as text.
        values = (name, stamp.modified, str(stamp.inode))
        with _mistrusting():
            self._sqlite.execute("INSERT OR REPLACE INTO folders VALUES (?, ?, ?)", values)

    def doubt_folder_times(self) -> None:
        """Note that this file system does not keep its folders' times."""
        with _mistrusting():
            self._sqlite.execute("UPDATE vault SET folder_times = 0")

    @contextmanager
    def _at_once(self) -> Iterator[None]:
        """See one state of the index in the block, also if another process commits."""
        with _mistrusting():
            self._sqlite.execute("BEGIN")
        try:
            yield
        finally:
            with suppress(sqlite3.Error):
                self._sqlite.execute("COMMIT")

    def _one(self, question: str) -> Any:
        with closing(self._sqlite.execute(question)) as cursor:
            row = cursor.fetchone()
        return row[0] if row else None

    def _all(self, question: str, values: tuple[object, ...]) -> list[tuple[Any, ...]]:
        with _mistrusting():
            rows: list[tuple[Any, ...]] = self._sqlite.execute(question, values).fetchall()
            return rows


def _row_of(stored: Stored, data: bytes) -> tuple[bytes, str, str, bool, bytes]:
    """Return a record's row: digest, vessel ("" for the vault), kind, telling, bytes."""
    record = stored.record
    telling = record.vessel is not None and tells_of_vessel(data, record.vessel)
    return bytes.fromhex(stored.digest), record.vessel or "", record.kind, telling, data


def _hashed(digest: bytes, data: bytes) -> tuple[str, bytes]:
    if not isinstance(data, bytes) or len(data) > MAX_BYTES or sha256(data) != digest.hex():
        raise Mistrusted("a record in it does not match its SHA-256", damaged=True)
    return digest.hex(), data


def _verdict(error: sqlite3.Error) -> Mistrusted:
    name = getattr(error, "sqlite_errorname", "").removeprefix("SQLITE_")
    return Mistrusted(str(error), damaged=not name.startswith(_AROUND))


@contextmanager
def _mistrusting() -> Iterator[None]:
    """Turn an error of SQLite into a verdict: damaged, or not usable here and now."""
    try:
        yield
    except sqlite3.Error as error:
        raise _verdict(error) from error
    except (TypeError, ValueError, AttributeError) as error:  # a column of another type
        raise Mistrusted(str(error), damaged=True) from error
