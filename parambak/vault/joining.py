"""Merging: what comes in from elsewhere becomes part of a vault. A union of files.

Each file is hashed before it is taken; each record is taken after the records that it is
`after` and the objects that it names. So a merge that is interrupted leaves a complete vault, and
continues when it is called again. formats/vault.md, "Merging".
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError, VaultDamaged
from parambak.memory.digests import sha256
from parambak.vault import objects, records
from parambak.vault.check.recheck import Damage
from parambak.vault.files import disk
from parambak.vault.own import VAULT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

    from parambak.vault.records import Record
    from parambak.vault.vault import Vault, Writing


class Piece(NamedTuple):
    """One file that comes in: its name at its source, and the digest in its name.

    `read` returns its bytes. It is called when they are needed, perhaps more than once. It raises
    OSError or VaultDamaged if this file cannot be read; any other error stops the merge.
    """

    file: str
    digest: str
    is_record: bool
    read: Callable[[], bytes]


class Joined(NamedTuple):
    """What a merge did.

    `repaired` are files of the vault whose bytes were wrong; `refused` are files as the pieces
    name them, and why; `missing` are files that were named and are nowhere. `left_out` are the
    records that did not come in and are not here, each with its vessel: VAULT for the vault itself,
    None if that is not known.
    """

    added_objects: int
    added_records: int
    repaired: tuple[str, ...]
    refused: tuple[Damage, ...]
    missing: tuple[str, ...]
    left_out: Mapping[str, str | None] = {}


def join(
    vault: Vault,
    writing: Writing,
    pieces: Iterable[Piece],
    *,
    loose: bool = False,
) -> Joined:
    """Take the missing ones of these pieces into the vault, and repair the wrong files.

    The result is the same in any order of the pieces. An object that no record names is passed
    over. A record that names something missing is refused. Both are taken if the pieces are
    `loose`: the remains of a vault. Two pieces may have one digest.
    Raises ParambakError if the vault cannot be written; what was taken before that stays.
    """
    merge = _Merge(vault, writing, loose=loose)
    return merge.run(pieces)


class _Needs(NamedTuple):
    """What is held in memory of an incoming record."""

    vessel: str | None
    after: tuple[str, ...]
    objects: tuple[str, ...]


class _Merge:
    """One merge; memory holds the names of files, never their bytes."""

    def __init__(self, vault: Vault, writing: Writing, *, loose: bool) -> None:
        self._vault = vault
        self._writing = writing
        self._loose = loose
        self._objects: dict[str, list[Piece]] = {}
        self._records: dict[str, list[Piece]] = {}
        self._needs: dict[str, _Needs] = {}
        self._handled: dict[str, bool] = {}  # objects, and whether they are in the vault now
        self._refused: dict[str, str] = {}
        self._repaired: list[str] = []
        self._missing: set[str] = set()
        self._added_objects: set[str] = set()
        self._added_records = 0

    def run(self, pieces: Iterable[Piece]) -> Joined:
        for piece in pieces:
            held = self._records if piece.is_record else self._objects
            held.setdefault(piece.digest, []).append(piece)
        for digest in sorted(self._records):
            self._look_at(digest)
        by_vessel: dict[str | None, list[str]] = {}
        for digest, needs in self._needs.items():
            by_vessel.setdefault(needs.vessel, []).append(digest)
        for vessel, digests in sorted(by_vessel.items(), key=lambda item: item[0] or ""):
            self._take_vessel(vessel, digests)
        self._take_the_rest()
        gone = self._writing.drop(self._added_objects)  # what only refused records named
        return Joined(
            added_objects=len(self._added_objects - gone),
            added_records=self._added_records,
            repaired=tuple(self._repaired),
            refused=tuple(Damage(f, t) for f, t in sorted(self._refused.items())),
            missing=tuple(sorted(self._missing)),
            left_out=self._left_out(),
        )

    def _left_out(self) -> dict[str, str | None]:
        """Return the records that are not in the vault now, each with its vessel if known.

        A record is about the vessel of those that are after it.
        """
        vessels: dict[str, str | None] = {}
        for digest, needs in self._needs.items():
            about = needs.vessel or VAULT
            vessels.update(dict.fromkeys(needs.after, about))
            vessels[digest] = about
        named = self._records.keys() | vessels.keys()
        return {d: vessels.get(d) for d in sorted(named) if not self._vault.holds(d)}

    # --- what comes in ---

    def _right_bytes(self, pieces: Iterable[Piece], limit: int) -> bytes | None:
        """Return the bytes of the first piece that matches its name; refuse the others."""
        for piece in pieces:
            try:
                data = piece.read()
            except VaultDamaged as error:
                self._refused[piece.file] = _words(error)
                continue
            except OSError as error:
                self._refused[piece.file] = f"It cannot be read: {disk.words(error)}."
                continue
            actual = sha256(data)
            if len(data) > limit:
                self._refused[piece.file] = f"It is larger than {limit} bytes."
            elif actual != piece.digest:
                self._refused[piece.file] = (
                    f"Its bytes do not match its name: their SHA-256 is {actual}."
                )
            else:
                return data
        return None

    def _record_bytes(self, digest: str) -> tuple[Record, bytes] | None:
        data = self._right_bytes(self._records[digest], records.MAX_BYTES)
        if data is None:
            return None
        try:
            return records.decode(data, digest), data
        except ParambakError as error:  # damaged, or of a later format
            self._refuse(digest, _words(error))
            return None

    def _refuse(self, digest: str, text: str) -> None:
        for piece in self._records[digest]:
            self._refused.setdefault(piece.file, text)

    def _look_at(self, digest: str) -> None:
        """Note what an incoming record needs, without keeping it."""
        read = self._record_bytes(digest)
        if read is not None:
            record = read[0]
            self._needs[digest] = _Needs(record.vessel, record.after, record.objects)

    # --- what is taken ---

    def _take_vessel(self, vessel: str | None, digests: list[str]) -> None:
        """Take the records about one vessel, or about the vault itself, in causal order."""
        present = {stored.digest for stored in self._vault.records(vessel)}
        for digest in self._in_order(digests):
            needs = self._needs[digest]
            missing = [d for d in needs.after if d not in present]
            if missing:
                name = records.file_of(missing[0])
                self._missing.update(map(records.file_of, missing))
                if not self._loose:
                    self._refuse(
                        digest,
                        f"It is after {name}, which is not in the vault and does not come in as a "
                        "record of the same vessel.",
                    )
                    continue
            if self._take_record(digest, needs):
                present.add(digest)

    def _in_order(self, digests: list[str]) -> Iterable[str]:
        """Yield the records so that each comes behind those among them that it is after."""
        from graphlib import TopologicalSorter  # noqa: PLC0415 - only if records come in

        after = {digest: set(self._needs[digest].after) for digest in digests}
        sorter = TopologicalSorter({d: parents & after.keys() for d, parents in after.items()})
        return sorter.static_order()

    def _take_record(self, digest: str, needs: _Needs) -> bool:
        """Take a record and what it names; return whether it is in the vault now."""
        absent = [d for d in needs.objects if not self._take_object(d)]
        if absent:
            self._missing.update(map(objects.file_of, absent))
            if not self._loose:
                text = f"It needs {objects.file_of(absent[0])}, which is missing or damaged."
                self._refuse(digest, text)
                return False
        read = self._record_bytes(digest)
        if read is None:
            return False
        standing = self._writing.take_record(digest, read[1], incomplete=self._loose)
        if standing is None:
            self._added_records += 1
        elif not standing:
            self._repaired.append(records.file_of(digest))
        return True

    def _take_object(self, digest: str) -> bool:
        """Take an object; return whether it is in the vault, right by all that this can check."""
        if digest not in self._handled:
            self._handled[digest] = self._take_object_now(digest)
        return self._handled[digest]

    def _take_object_now(self, digest: str) -> bool:
        standing = objects.stands(self._vault.root, digest)
        if standing:
            return True
        data = self._right_bytes(self._objects.get(digest, ()), objects.MAX_BYTES)
        if data is None:
            return standing is not None  # damaged here already: no reason to lose the record
        self._writing.put(data)
        if standing is None:
            self._added_objects.add(digest)
        else:
            self._repaired.append(objects.file_of(digest))
        return True

    def _take_the_rest(self) -> None:
        """Repair, and take what a record of the vault names or, from a loose heap, all."""
        remaining = self._objects.keys() - self._handled.keys()
        named_here: set[str] = set()
        if not self._loose and any(not self._vault.has_object(d) for d in remaining):
            named_here = {d for named in _named(self._vault) for d in named if d in remaining}
        for digest in sorted(remaining):
            if self._loose or digest in named_here or self._vault.has_object(digest):
                self._take_object(digest)
                self._writing.keep(digest)


def _named(vault: Vault) -> Iterator[tuple[str, ...]]:
    """Yield what each record of the vault names, one vessel's at a time."""
    for vessel in (None, *vault.vessels()):
        for stored in vault.records(vessel):
            yield stored.record.objects


def _words(error: ParambakError) -> str:
    parts = [(name, getattr(error, name)) for name in ("expected", "found")]
    reason = "; ".join(f"{name}: {value}" for name, value in parts if value)
    return f"{error.text} {reason[:1].upper()}{reason[1:]}." if reason else error.text
