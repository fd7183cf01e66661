"""Sending to a packed backup location: one pack for each vessel, written again whole or not at all.

formats/backup-locations.md, "Sticks with FAT"; what a pack is: formats/packed-vessels.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import PackRefused, ParambakError, VaultDamaged
from parambak.vault import objects, records
from parambak.vault.check.recheck import Damage
from parambak.vault.check.recover import surveyed
from parambak.vault.files import disk
from parambak.vault.joining import join
from parambak.vault.locations.faults import PACKED_ELSEWHERE
from parambak.vault.locations.fetch import GONE, Fetched, aside_here
from parambak.vault.locations.location import (
    PACKS,
    begin_packs,
    put_aside,
    refusal,
    require_location,
)
from parambak.vault.locations.send import (
    HELD,
    Location,
    Proven,
    SendingFailed,
    Sent,
    proof,
    vessels_to_send,
)
from parambak.vault.locations.stores import FolderStore
from parambak.vault.packs import writing
from parambak.vault.packs.faults import NEWER
from parambak.vault.packs.faults import UNREADABLE as PACK_UNREADABLE
from parambak.vault.packs.reading import Pack, opened, pack_to_file
from parambak.vault.records import record_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from pathlib import Path

    from parambak.vault.joining import Piece
    from parambak.vault.locations.stores import Store
    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault

UNTAKEN = (
    "It holds {} that this vault does not have, so it is not written over. --both-ways takes in "
    "those first."
)


def pack_file(vessel: str) -> str:
    """Return the name of a vessel's pack within a backup location."""
    return f"{PACKS}/{vessel}.zip"


def send_packed(  # noqa: PLR0913 - how to send, all by keyword
    vault: Vault,
    store: Store,
    location: Location,
    names: Mapping[str, str],
    progress: Callable[[int, int], None],
    *,
    quick: bool,
    both_ways: bool,
) -> Sent:
    """Send to a packed backup location; `names` are the vessels' short names, for the packs.

    The store must be a folder. Every member of a pack that is there is hashed unless `quick`.
    Raises Broken if the backup location fails on the way, and ParambakError before that.
    """
    if not isinstance(store, FolderStore):
        raise PACKED_ELSEWHERE.error(file=store.shown, expected="a folder", found="another store")
    sending = _Packing(vault, store, names, progress, quick=quick, both_ways=both_ways)
    if not require_location(store, location.identity, packed=True).packed:
        begin_packs(store)
    disk.sweep(store.root / PACKS)
    vessels = vessels_to_send(vault, location)
    for vessel in vessels:
        try:
            sending.send_vessel(vessel)
        except OSError as error:
            done = len(sending.proven)
            raise SendingFailed(
                refusal(store, error, done, len(vessels)), tuple(sending.proven)
            ) from error
    return sending.sent()


class _Present(NamedTuple):
    """What is in a pack and right: digests of records and objects; `damaged` are members.

    A pack that is refused completely is no `pack`: it proves no content.
    """

    records: set[str]
    objects: set[str]
    damaged: tuple[Damage, ...] = ()
    pack: bool = True


class _Packing:
    def __init__(  # noqa: PLR0913 - how to send, all by keyword
        self,
        vault: Vault,
        store: FolderStore,
        names: Mapping[str, str],
        progress: Callable[[int, int], None],
        *,
        quick: bool,
        both_ways: bool,
    ) -> None:
        self._vault = vault
        self._store = store
        self._names = names
        self._progress = progress
        self._quick = quick
        self._both_ways = both_ways
        self._written = self._right = self._unknown = 0
        self._repaired_there: list[str] = []
        self._repaired_here: list[str] = []
        self._refused: list[Damage] = []
        self._taken = [0, 0]
        self._left_out: dict[str, str | None] = {}
        self.proven: list[Proven] = []

    def sent(self) -> Sent:
        fetched = Fetched(
            objects=self._taken[0],
            records=self._taken[1],
            repaired=(),
            refused=(),
            unknown=self._unknown,
            left_out=self._left_out,
        )
        return Sent(
            sent=self._written,
            there=self._right,
            repaired_there=tuple(self._repaired_there),
            repaired_here=tuple(self._repaired_here),
            refused=tuple(self._refused),
            unknown=self._unknown,
            proven=tuple(self.proven),
            fetched=fetched if self._both_ways else None,
        )

    def send_vessel(self, vessel: str) -> None:
        """Bring one vessel's pack up to date."""
        file = pack_file(vessel)
        packs = self._store.names(PACKS)  # fails if the stick was pulled
        present: _Present | None = None
        if file.rpartition("/")[2] in packs:
            present = self._look(vessel, file)
        stored = self._vault.records(vessel)
        unknown = present.records - {s.digest for s in stored} if present else set()
        self._unknown += len(unknown)
        if present is not None and not present.damaged and not _lacks(present, stored):
            self._right += 1
        elif unknown:
            text = UNTAKEN.format("1 record" if len(unknown) == 1 else f"{len(unknown)} records")
            self._refused.append(Damage(file, text))
        else:
            present = self._write(vessel, file, present) or present
        if present is not None and present.pack and present.records:
            self.proven.append(
                proof(vessel, stored, present.records, present.objects, hashed=not self._quick)
            )

    # --- what is there ---

    def _look(self, vessel: str, file: str) -> _Present | None:
        """Return what is in a pack at the location; a pack of another vessel is set aside."""
        try:
            with opened(self._path(file)) as pack:
                if set(pack.vessels) != {vessel}:
                    self._aside(file)
                    return None
                damaged = () if self._quick else pack.check(self._progress)
                present = _Present(*_digests(pack, {damage.file for damage in damaged}), damaged)
                if not self._quick:
                    self._repair_here(pack.pieces(), vessel, present)
                if self._both_ways:
                    self._take(pack.pieces())
                    self._leave_out(vessel, damaged)
                return present
        except PackRefused as error:
            if error.code == NEWER.code:
                raise
            if error.code == PACK_UNREADABLE.code:
                self._store.names(PACKS)  # fails in its turn if the stick was pulled
            return self._rescue(vessel, file)

    def _rescue(self, vessel: str, file: str) -> _Present:
        """Take what the vault lost out of a refused pack, before the pack is set aside."""
        with surveyed([self._path(file)], self._progress) as heap:
            pieces = [piece for piece in heap.pieces() if _may_be_of(piece, vessel)]
            of_records = {piece.digest for piece in pieces if piece.is_record}
            of_objects = {piece.digest for piece in pieces if not piece.is_record}
            damage = Damage(file, "It cannot be read as a pack.")
            present = _Present(of_records, of_objects, (damage,), pack=False)
            self._repair_here(pieces, vessel, present)
            if not self._both_ways:
                return present
            self._take(pieces)
            self._leave_out(vessel, heap.doubtful)
        # What could not be taken will never have what it needs: it stops nothing.
        digests = {stored.digest for stored in self._vault.records(vessel)}
        return present._replace(records=of_records & digests)

    def _aside(self, file: str) -> None:
        put_aside(self._store, file)
        self._repaired_there.append(file)

    def _repair_here(self, from_pack: Iterable[Piece], vessel: str, present: _Present) -> None:
        """Take back what the vault lost of this vessel, if the pack has it right."""
        wrong = self._wrong_here(vessel, present)
        if not wrong:
            return
        with self._vault.writing() as writing:
            for file in wrong:
                aside_here(self._vault, file)
            pieces = [piece for piece in from_pack if _file_of(piece) in wrong]
            join(self._vault, writing, pieces, loose=True)
        self._repaired_here += sorted(wrong)

    def _wrong_here(self, vessel: str, present: _Present) -> set[str]:
        stored = self._vault.records(vessel)
        digests = {s.digest for s in stored}
        lost = {d for s in stored for d in s.record.after} - digests
        lost |= {d for d in present.records - digests if self._is_here(records.file_of(d))}
        wrong = {records.file_of(d) for d in lost & present.records}
        for s in stored:
            if s.digest in present.records and not self._holds(s.file, s.digest):
                wrong.add(s.file)
        for digest in {d for s in stored for d in s.record.objects} & present.objects:
            file = objects.file_of(digest)
            if not self._holds(file, digest):
                wrong.add(file)
        return wrong

    def _is_here(self, file: str) -> bool:
        return disk.is_file(self._vault.root / file)

    def _holds(self, file: str, digest: str) -> bool:
        return bool(disk.holds(self._vault.root / file, digest, objects.MAX_BYTES))

    def _take(self, pieces: Iterable[Piece]) -> None:
        with self._vault.writing() as writing:
            joined = join(self._vault, writing, pieces)
        self._taken[0] += joined.added_objects
        self._taken[1] += joined.added_records
        self._repaired_here += joined.repaired
        self._refused += joined.refused
        self._left_out.update(joined.left_out)

    def _leave_out(self, vessel: str, damaged: Iterable[Damage]) -> None:
        """Note the damaged records of a vessel's pack, which did not come in."""
        digests = filter(None, (record_in(damage.file) for damage in damaged))
        self._left_out.update(dict.fromkeys(digests, vessel))

    # --- writing ---

    def _write(self, vessel: str, file: str, present: _Present | None) -> _Present | None:
        """Write a pack again; None if the vault has a hole, and the old one stays."""
        try:
            of_records, of_objects = writing.contents(self._vault, [vessel])
            self._put(vessel, file, keep=present is not None and bool(present.damaged))
        except VaultDamaged as error:
            self._refused.append(Damage(error.file or file, GONE))
            return None
        except ParambakError as error:
            self._store.names(PACKS)  # fails in its turn if the stick was pulled
            if isinstance(error.__cause__, OSError):
                raise error.__cause__ from error
            raise
        self._written += 1
        return _Present(set(of_records), set(of_objects))

    def _put(self, vessel: str, file: str, *, keep: bool) -> None:
        """Write the pack; `keep` the one that is there aside, once the new one is whole."""
        name = {vessel: self._names.get(vessel, vessel[:8])}
        new = f"{PACKS}/{vessel}{disk.TEMPORARY}" if keep else file
        pack_to_file(self._vault, name, self._path(new), self._progress, replace=True)
        if keep:
            self._aside(file)
            self._store.rename(new, file)

    def _path(self, file: str) -> Path:
        return self._store.root / file


def _file_of(piece: Piece) -> str:
    """Return the name that a piece has in a vault, by any name that it has there."""
    return records.file_of(piece.digest) if piece.is_record else objects.file_of(piece.digest)


def _may_be_of(piece: Piece, vessel: str) -> bool:
    """Return whether a piece may be of a vessel: an object, or a record about it."""
    return not piece.is_record or records.decode(piece.read()).vessel == vessel


def _lacks(present: _Present, stored: tuple[Stored, ...]) -> bool:
    """Return whether more is missing from a pack than the records of what is held."""
    missing = [s for s in stored if s.digest not in present.records]
    if not all(s.record.kind == HELD for s in missing):
        return True
    named = {d for s in stored if s.digest in present.records for d in s.record.objects}
    return not named <= present.objects


def _digests(pack: Pack, damaged: set[str]) -> tuple[set[str], set[str]]:
    names = [member.file for member in pack.manifest.files if member.file not in damaged]
    suffix = records.SUFFIX
    of_records = {n.rpartition("/")[2].removesuffix(suffix) for n in names if n.endswith(suffix)}
    return of_records, {n.rpartition("/")[2] for n in names if not n.endswith(suffix)}
