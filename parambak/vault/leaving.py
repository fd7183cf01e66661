"""Which vessels left a vault, told by its own records, and what of them is still there.

formats/vault.md, "A vessel leaves".
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.errors import ParambakError
from parambak.vault import objects, records
from parambak.vault.files import disk

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from parambak.vault.records import Record, Stored
    from parambak.vault.vault import Vault

LEFT = "vessel-left"  # kinds of records about the vault itself
RETURNED = "vessel-returned"
_LINE = re.compile(rb"([0-9a-f]{64})  ((?:objects|records)/([0-9a-f]{2})/\1(?:\.json)?)\n")


def left(vault: Vault) -> dict[str, Stored]:
    """Return the vessels that left this vault and did not return: identity to the record.

    A leaving counts in the vault that it names, and in copies of that vault.
    """
    return _standing(vault.records(None), vault.identity)


def _standing(about_vault: Iterable[Stored], identity: str) -> dict[str, Stored]:
    """Return the same from the records about a vault, in causal order; never raises."""
    gone: dict[str, Stored] = {}
    for stored in about_vault:
        body = stored.record.body
        vessels = body.get("vessels")
        if stored.record.kind not in (LEFT, RETURNED) or body.get("vault") != identity:
            continue
        for vessel in vessels if isinstance(vessels, list) else ():
            if stored.record.kind == RETURNED:
                gone.pop(str(vessel), None)
            else:
                gone[str(vessel)] = stored
    return gone


# --- the list of what is removed ---


def write_list(names: Iterable[str]) -> bytes:
    """Return the list of these files of a vault, as `sha256sum` prints it."""
    lines = (f"{_digest(name)}  {name}\n" for name in names)
    return "".join(lines).encode("ascii")


def read_list(root: Path, stored: Stored) -> tuple[str, ...]:
    """Return the files that a leaving lists, in the order in which they are removed.

    Raises VaultDamaged where its list is missing or wrong.
    """
    data = objects.read(root, str(stored.record.body.get("listed")))
    return tuple(match[2].decode() for match in _LINE.finditer(data))


def gone_with_vessels(root: Path, about_vault: Iterable[Stored], identity: str) -> frozenset[str]:
    """Return the digests of records that are gone because their vessel left; never raises."""
    found: set[str] = set()
    for stored in {s.digest: s for s in _standing(about_vault, identity).values()}.values():
        try:
            found.update(map(_digest, read_list(root, stored)))
        except ParambakError:
            continue  # a damaged list is named by recheck, and excuses nothing
    return frozenset(found)


def present(vault: Vault, names: Iterable[str]) -> list[str]:
    """Return those of these files of a vault that are there."""
    return [name for name in names if disk.is_file(vault.root / name)]


def named_elsewhere(vault: Vault, leaving: frozenset[str], names: Sequence[str]) -> set[str]:
    """Return those of these objects' files that a record of another vessel, or the vault, names."""
    asked = {name for name in names if name.startswith(objects.FOLDER)}
    found: set[str] = set()
    for vessel in (None, *vault.vessels()):
        if vessel not in leaving:
            for stored in vault.records(vessel):
                found.update(asked.intersection(map(objects.file_of, stored.record.objects)))
    return found


def _digest(name: str) -> str:
    return name.rpartition("/")[2].removesuffix(records.SUFFIX)


class Leftovers:
    """What a broken-off leaving left, found while every record is read once."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        self._left = left(vault)
        self._records: dict[str, int] = {}
        self._objects: dict[str, Stored] = {}
        for stored in {s.digest: s for s in self._left.values()}.values():
            for name in self._listed(stored):
                if name.startswith(objects.FOLDER) and disk.is_file(vault.root / name):
                    self._objects[_digest(name)] = stored

    def _listed(self, stored: Stored) -> tuple[str, ...]:
        try:
            return read_list(self._vault.root, stored)
        except ParambakError:
            return ()

    def __bool__(self) -> bool:
        """Tell whether any vessel left: else `belongs` is always false."""
        return bool(self._left)

    def belongs(self, record: Record) -> bool:
        """Tell whether a record is about a vessel that left; else what it names stays."""
        if record.vessel in self._left:
            digest = self._left[record.vessel].digest
            self._records[digest] = self._records.get(digest, 0) + 1
            return True
        for each in record.objects if self._objects else ():
            self._objects.pop(each, None)
        return False

    def remarks(self, *, whole: bool) -> Iterator[tuple[str, str]]:
        """Yield what to say, each with the leaving's file; of objects only after a `whole` run."""
        by_leaving = {stored.digest: stored for stored in self._left.values()}
        of_objects: dict[str, int] = {}
        for stored in self._objects.values() if whole else ():
            of_objects[stored.digest] = of_objects.get(stored.digest, 0) + 1
        for digest, stored in sorted(by_leaving.items()):
            count = self._records.get(digest, 0) + of_objects.get(digest, 0)
            if count:
                name, pack = (stored.record.body.get(each) for each in ("name", "pack"))
                text = (
                    f"Vessel {name} left this vault, and {count} of its files are still here: "
                    f"call `parambak vessel leave {name}` again, with --out and the pack {pack}."
                )
                yield stored.file, text
