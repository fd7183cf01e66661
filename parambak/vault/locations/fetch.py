"""What comes from a location: what the vault lost, and with both ways all that it has not."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError
from parambak.vault import objects, records
from parambak.vault.check.recheck import Damage
from parambak.vault.files import disk
from parambak.vault.joining import Joined, Piece, join
from parambak.vault.locations.location import first_record, put_aside
from parambak.vault.locations.stores import FolderStore
from parambak.vault.own import VAULT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from parambak.vault.locations.location import Listing
    from parambak.vault.locations.stores import Store
    from parambak.vault.records import Record
    from parambak.vault.vault import Vault

GONE = "It is damaged or missing here, and in the backup location too."
_KEPT = 64 << 20  # bytes of records kept in memory between looking at them and taking them


class Fetched(NamedTuple):
    """What came from a location; `unknown` counts the records there that this vault has not.

    Both ways, `left_out` are those of them that did not come in, as a merge has them.
    """

    objects: int
    records: int
    repaired: tuple[str, ...]
    refused: tuple[Damage, ...]
    unknown: int
    left_out: Mapping[str, str | None] = {}


class Source(NamedTuple):
    """A backup location to take from: what it lists, its identity, the vessels it is limited to."""

    store: Store
    listed: Listing
    identity: str
    vessels: frozenset[str] | None


def fetch(
    vault: Vault,
    source: Source,
    failure: Callable[[OSError], ParambakError | None],
    *,
    both_ways: bool,
) -> Fetched:
    """Take from the location the records that the vault lost and, both ways, those it never had.

    A record is lost if its file is damaged here, or if another record is `after` it and it is
    missing. If the location is limited, nothing of other vessels is taken. `failure` shows whether
    an error means that the backup location itself failed. Raises OSError, or that error, if it did.
    """
    return _Fetch(vault, source, failure).run(both_ways=both_ways)


def aside_here(vault: Vault, file: str) -> None:
    """Set a damaged file of the vault aside, if it is there; under the lock."""
    if disk.is_file(vault.root / file):
        try:
            put_aside(FolderStore(vault.root), file)
        except OSError as error:
            raise disk.write_refusal(error, vault.root / file) from error


class _Fetch:
    def __init__(
        self, vault: Vault, source: Source, failure: Callable[[OSError], ParambakError | None]
    ) -> None:
        self._vault = vault
        self._store, self._listed, self._identity, self._vessels = source
        self._failure = failure
        self._cached: dict[str, bytes] = {}
        self._room = _KEPT

    def run(self, *, both_ways: bool) -> Fetched:
        present = self._digests()
        lost = self._lost(present)
        back = self._with_those_before(lost & self._listed.records.keys(), present)
        still_wrong = self._repair(back).refused if back else ()
        present |= self._digests() if back else set()
        taken = Joined(0, 0, (), (), ())
        if both_ways:
            more = self._with_those_before(self._listed.records.keys() - present, present)
            with self._vault.writing() as writing:
                taken = join(self._vault, writing, self._pieces(more))
            present = self._digests()
        gone = [Damage(records.file_of(d), GONE) for d in sorted(lost - present)]
        unknown = self._listed.records.keys() - present - {first_record(self._identity)[0]}
        return Fetched(
            objects=taken.added_objects,
            records=taken.added_records,
            repaired=(
                *(records.file_of(d) for d in sorted(back.keys() & present)),
                *taken.repaired,
            ),
            refused=(*still_wrong, *taken.refused, *gone),
            unknown=len(unknown),
            left_out=self._left_out(unknown, taken.left_out) if both_ways else {},
        )

    def _left_out(
        self, unknown: Iterable[str], left_out: Mapping[str, str | None]
    ) -> dict[str, str | None]:
        """Return the records there that did not come in, each with its vessel if known."""
        left = dict(left_out)
        for digest in unknown:
            record = self._record(digest)
            if record is None:
                left.setdefault(digest, None)
            elif self._belongs(record):
                left[digest] = record.vessel or VAULT
        return left

    def _repair(self, back: dict[str, Record]) -> Joined:
        with self._vault.writing() as writing:
            for digest in back:
                aside_here(self._vault, records.file_of(digest))
            # What was here before goes back into its location, even if more is still missing.
            return join(self._vault, writing, self._pieces(back), loose=True)

    def _digests(self) -> set[str]:
        present = {stored.digest for stored in self._vault.records(None)}
        for vessel in self._vault.vessels():
            present.update(link.digest for link in self._vault.chain(vessel))
        return present

    def _lost(self, present: set[str]) -> set[str]:
        """Return the records that this vault had: of a limited location's vessels if that can be.

        One whose file is right came from another process a moment ago, or is of a later format.
        """
        sent = self._vessels
        named: set[str] = set()
        for vessel in self._vault.vessels():
            if sent is None or vessel in sent:
                named.update(d for link in self._vault.chain(vessel) for d in link.record.after)
        if sent is None:
            named.update(d for stored in self._vault.records(None) for d in stored.record.after)
        files = set(self._files_here())
        if sent is not None:
            files &= self._listed.records.keys()
        return {digest for digest in (named | files) - present if not self._is_right(digest)}

    def _is_right(self, digest: str) -> bool:
        path = self._vault.root / records.file_of(digest)
        return disk.holds(path, digest, records.MAX_BYTES) is True

    def _files_here(self) -> Iterator[str]:
        """Yield the digests that the vault has files of records for, right or wrong."""
        folder = self._vault.root / records.FOLDER
        for digits in disk.stamps_in(folder):
            for name in disk.names_in(folder / digits):
                if records.named_by(name):
                    yield name.removesuffix(records.SUFFIX)

    # --- what is taken ---

    def _with_those_before(self, digests: Iterable[str], present: set[str]) -> dict[str, Record]:
        """Return the records wanted, and those there that they are after and the vault has not."""
        needed: dict[str, Record] = {}
        waiting = set(digests)
        while waiting:
            digest = waiting.pop()
            record = self._record(digest)
            if record is None or not self._belongs(record):
                continue
            needed[digest] = record
            waiting.update(
                d
                for d in record.after
                if d not in present and d not in needed and d in self._listed.records
            )
        return needed

    def _belongs(self, record: Record) -> bool:
        return self._vessels is None or record.vessel in self._vessels

    def _record(self, digest: str) -> Record | None:
        """Return a record of the backup location; None if it is damaged there."""
        try:
            data = self._bytes(digest)
        except OSError:
            return None
        try:
            return records.decode(data, digest)
        except ParambakError:  # damaged, or of a later format
            return None

    def _bytes(self, digest: str) -> bytes:
        if digest in self._cached:
            return self._cached[digest]
        data = self._read(records.file_of(digest), records.MAX_BYTES)
        if len(data) <= self._room:
            self._room -= len(data)
            self._cached[digest] = data
        return data

    def _pieces(self, taken: dict[str, Record]) -> Iterator[Piece]:
        needed = {d for record in taken.values() for d in record.objects}
        for digest in sorted(needed & self._listed.objects.keys()):
            file = objects.file_of(digest)
            yield Piece(file, digest, is_record=False, read=self._reader(file))
        for digest in taken:
            yield Piece(records.file_of(digest), digest, is_record=True, read=self._again(digest))

    def _reader(self, file: str) -> Callable[[], bytes]:
        return lambda: self._read(file, objects.MAX_BYTES)

    def _read(self, file: str, limit: int) -> bytes:
        try:
            return self._store.read(file, limit)
        except (FileNotFoundError, disk.UnfitFileError):
            raise
        except OSError as error:
            lost = self._failure(error)
            if lost is not None:
                raise lost from error
            raise

    def _again(self, digest: str) -> Callable[[], bytes]:
        return lambda: self._bytes(digest)
