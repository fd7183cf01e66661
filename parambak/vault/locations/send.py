"""Sending to a location: what is there is hashed, what is missing is written, either side repaired.

formats/backup-locations.md, "Sending", gives the order and what each interruption leaves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.memory.digests import sha256
from parambak.vault import objects, records, vault_toml
from parambak.vault.check.recheck import Damage
from parambak.vault.faults import UNREADABLE
from parambak.vault.files import disk
from parambak.vault.locations.fetch import GONE, Fetched, Source, aside_here, fetch
from parambak.vault.locations.location import (
    FILE,
    Listing,
    first_record,
    put_aside,
    refusal,
    require_location,
)
from parambak.vault.locations.stores import FolderStore
from parambak.vault.order import heads
from parambak.vault.records import encode

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from collections.abc import Set as AbstractSet

    from parambak.errors import ParambakError
    from parambak.vault.locations.stores import Store
    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault

HELD = "held"  # the kind of record that alone is nothing to send
_TOML_MAX = 4096


class Location(NamedTuple):
    """A backup location to send to: its identity, the vessels it is limited to (None: all)."""

    identity: str
    vessels: frozenset[str] | None = None
    packed: bool = False


class Proven(NamedTuple):
    """What a location holds of one vessel: the newest records there, and those not whole there."""

    vessel: str
    heads: tuple[str, ...]
    incomplete: tuple[str, ...]
    records: int
    objects: int
    hashed: bool


class Sent(NamedTuple):
    """What a sending did.

    `sent` counts the files written that were not there, `there` those already right.
    `repaired_there` and `repaired_here` name files that were wrong or gone; `refused` what could
    not be sent and why. `unknown` counts records there that this vault has not.
    """

    sent: int
    there: int
    repaired_there: tuple[str, ...]
    repaired_here: tuple[str, ...]
    refused: tuple[Damage, ...]
    unknown: int
    proven: tuple[Proven, ...]
    fetched: Fetched | None

    @property
    def vault_damaged(self) -> bool:
        """Return whether something is damaged here that the backup location could not repair."""
        return any(damage.text == GONE for damage in self.refused)


class SendingFailed(Exception):  # noqa: N818 - what was proven until then, next to the refusal
    """A sending that broke off: the refusal, and the vessels that were through."""

    def __init__(self, refusal: ParambakError, proven: tuple[Proven, ...]) -> None:
        super().__init__(refusal.text)
        self.refusal = refusal
        self.proven = proven


def send(  # noqa: PLR0913 - how to send, all by keyword
    vault: Vault,
    store: Store,
    location: Location,
    progress: Callable[[int, int], None],
    *,
    quick: bool = False,
    both_ways: bool = False,
) -> Sent:
    """Send to a backup location that is no packed one; what is there counts when it was hashed.

    Raises Broken if the backup location fails on the way, and ParambakError before that.
    """
    sending = Sending(vault, store, location, progress, quick=quick)
    try:
        return sending.run(both_ways=both_ways)
    except OSError as error:
        raise SendingFailed(sending.refusal(error), tuple(sending.proven)) from error


def vessels_to_send(vault: Vault, location: Location) -> list[str]:
    """Return the identities of the vessels that are sent, in order."""
    return [v for v in vault.vessels() if location.vessels is None or v in location.vessels]


def proof(
    vessel: str,
    stored: Sequence[Stored],
    held: AbstractSet[str],
    objects_held: AbstractSet[str],
    *,
    hashed: bool,
) -> Proven:
    """Return what a backup location that holds these records and objects holds of one vessel.

    `stored` are the vessel's records of this vault, in causal order.
    """
    held_records = [s for s in stored if s.digest in held]
    return Proven(
        vessel=vessel,
        heads=tuple(sorted(s.digest for s in heads(held_records))),
        incomplete=tuple(
            sorted(
                s.digest
                for s in stored
                if s.digest not in held or not set(s.record.objects) <= objects_held
            )
        ),
        records=len(held_records),
        objects=len(objects_held & {d for s in held_records for d in s.record.objects}),
        hashed=hashed,
    )


class Sending:
    """One sending; of a file it remembers only the name."""

    def __init__(
        self,
        vault: Vault,
        store: Store,
        location: Location,
        progress: Callable[[int, int], None],
        *,
        quick: bool,
    ) -> None:
        self._vault = vault
        self._vault_store = FolderStore(vault.root)
        self._store = store
        self._location = location
        self._progress = progress
        self._quick = quick
        self._done = self._total = 0
        self._sent = self._there = 0
        self._repaired_there: list[str] = []
        self._repaired_here: list[str] = []
        self._refused: dict[str, str] = {}
        self._objects: dict[
            str, bool
        ] = {}  # those looked at, and whether the backup location holds them
        self.proven: list[Proven] = []

    def run(self, *, both_ways: bool) -> Sent:
        """Send all; raise OSError if the location fails, `proven` then shows what is through."""
        contents = require_location(self._store, self._location.identity, packed=False)
        self._repair_toml(contents.vault)
        self._listing = Listing(self._store)
        source = Source(self._store, self._listing, self._location.identity, self._location.vessels)
        fetched = fetch(self._vault, source, self.failure, both_ways=both_ways)
        vessels = vessels_to_send(self._vault, self._location)
        self._total = self._count(vessels)
        if self._location.vessels is None:
            self._group(None)
        else:
            self._first()
        for vessel in vessels:
            self._group(vessel)
        return Sent(
            sent=self._sent,
            there=self._there,
            repaired_there=tuple(self._repaired_there),
            repaired_here=(*fetched.repaired, *self._repaired_here),
            refused=(
                *fetched.refused,
                *(Damage(file, text) for file, text in sorted(self._refused.items())),
            ),
            unknown=fetched.unknown,
            proven=tuple(self.proven),
            fetched=fetched if both_ways else None,
        )

    def refusal(self, error: OSError) -> ParambakError:
        """Return what a failure of the backup location becomes."""
        return refusal(self._store, error, self._done, max(self._total, self._done))

    def failure(self, error: OSError) -> ParambakError | None:
        """Return the refusal if the location itself has failed, None if only a file has."""
        try:
            self._store.read(FILE, _TOML_MAX)
        except OSError:
            return self.refusal(error)
        return None

    def _count(self, vessels: Sequence[str]) -> int:
        """Return how many files there are to go through."""
        about_vault = [] if self._location.vessels is not None else [None]
        count = 0
        seen: set[str] = set()
        for group in (*about_vault, *vessels):
            for stored in self._vault.records(group):
                count += 1
                seen.update(stored.record.objects)
        return count + len(seen)

    def _repair_toml(self, identity: str | None) -> None:
        limited = self._location.vessels is not None
        right = identity or (self._location.identity if limited else self._vault.identity)
        data = vault_toml.encode(right)
        if identity is not None:
            if self._store.read(vault_toml.FILE, _TOML_MAX) == data:
                return
            put_aside(self._store, vault_toml.FILE)
            self._repaired_there.append(vault_toml.FILE)
        self._store.write(vault_toml.FILE, data)

    # --- one vessel, or the vault itself ---

    def _group(self, vessel: str | None) -> None:
        stored = self._vault.records(vessel)
        listed = self._listing.records
        missing = [s for s in stored if s.digest not in listed]
        if all(s.record.kind == HELD for s in missing):
            gone = {s.digest for s in missing}
            self._done += len(gone)
            stored = tuple(s for s in stored if s.digest not in gone)
        for digest in sorted({d for s in stored for d in s.record.objects}):
            self._object(digest)
        whole = {s.digest for s in stored if self._record(s)}
        if vessel is not None and whole:
            objects_held = {d for d, held in self._objects.items() if held}
            self.proven.append(proof(vessel, stored, whole, objects_held, hashed=not self._quick))

    # --- one file ---

    def _object(self, digest: str) -> None:
        if digest not in self._objects:
            file = objects.file_of(digest)
            size = self._listing.objects.get(digest)
            self._objects[digest] = self._even_out(file, digest, size, None)
            self._step()

    def _record(self, stored: Stored) -> bool:
        size = self._listing.records.get(stored.digest)
        held = self._even_out(stored.file, stored.digest, size, stored)
        self._step()
        return held

    def _step(self) -> None:
        self._done += 1
        self._progress(self._done, max(self._done, self._total))

    def _even_out(self, file: str, digest: str, size: int | None, record: Stored | None) -> bool:
        """Bring one file to the same on both sides; return whether the location holds it now."""
        if self._quick and size is not None and size == self._size_here(file):
            self._there += 1
            return True
        limit = records.MAX_BYTES if record else objects.MAX_BYTES
        vault_bytes = self._right_here(file, digest, limit)
        location_bytes = None if size is None else self._right_there(file, digest, limit)
        # The index may hold a record whose file is damaged.
        good = vault_bytes or location_bytes or (encode(record.record)[1] if record else None)
        if good is None:
            self._refused[file] = GONE
            return False
        if vault_bytes is None:
            self._repair_here(file, digest, good)
        if location_bytes is None:
            self._write(file, good, new=size is None)
            self._sent += size is None
        else:
            self._there += 1
        return True

    def _write(self, file: str, data: bytes, *, new: bool) -> None:
        """Write a file of the backup location; one that is wrong is kept aside."""
        if not new:
            put_aside(self._store, file)
            self._repaired_there.append(file)
        self._store.write(file, data)

    def _first(self) -> None:
        """Bring a limited backup location its own first record."""
        digest, data = first_record(self._location.identity)
        file, size = records.file_of(digest), self._listing.records.get(digest)
        if size is None or self._right_there(file, digest, len(data)) is None:
            self._write(file, data, new=size is None)

    def _right_here(self, file: str, digest: str, limit: int) -> bytes | None:
        try:
            data = self._vault_store.read(file, limit)
        except OSError as error:
            if disk.is_file(self._vault.root / vault_toml.FILE):
                return None
            # The vault itself is gone: nothing is the backup location's fault then.
            raise UNREADABLE.error(file=str(self._vault.root), found=disk.words(error)) from error
        return data if sha256(data) == digest else None

    def _right_there(self, file: str, digest: str, limit: int) -> bytes | None:
        try:
            data = self._store.read(file, limit)
        except (FileNotFoundError, disk.UnfitFileError):
            return None
        except OSError:
            self._store.read(FILE, _TOML_MAX)  # fails in its turn if the backup location is gone
            return None
        return data if sha256(data) == digest else None

    def _size_here(self, file: str) -> int | None:
        try:
            return (self._vault.root / file).stat().st_size
        except OSError:
            return None

    def _repair_here(self, file: str, digest: str, data: bytes) -> None:
        with self._vault.writing() as writing:
            aside_here(self._vault, file)
            if file.endswith(records.SUFFIX):
                writing.take_record(digest, data, incomplete=True)
            else:
                writing.put(data)
        self._repaired_here.append(file)
