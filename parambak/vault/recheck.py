"""Everything in a vault hashed again, from the files alone: the index is not asked."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import files, objects, records, vault_toml
from parambak.vault.vault import FIRST

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from parambak.vault.records import Record
    from parambak.vault.vault import Vault


class Damage(NamedTuple):
    """One thing and what is wrong with it, or strange; `file` is within the vault."""

    file: str
    text: str


class Rechecked(NamedTuple):
    """How many files of each sort were hashed, what is damaged, and what is only remarked on.

    `remarks` are files that no vault writes (the system's, a sync program's) and temporary
    files that a broken-off write left; the next write into their folder removes the latter.
    """

    objects: int
    records: int
    damaged: tuple[Damage, ...]
    remarks: tuple[Damage, ...]


def recheck(vault: Vault, progress: Callable[[int, int], None]) -> Rechecked:
    """Hash every object and record again; find what is edited, gone, or out of its place.

    `progress` is told how many files of how many are done. A record must hold what its
    name says, be `after` records that are there, and name objects that are there.
    """
    return _Recheck(vault, progress).run()


class _Recheck:
    """One pass; what it keeps grows with the damage, not with the vault."""

    def __init__(self, vault: Vault, progress: Callable[[int, int], None]) -> None:
        self._vault = vault
        self._root = vault.root
        self._progress = progress
        self._done = 0
        self._total = 0
        self._hashed = 0
        self._damaged: dict[str, str] = dict.fromkeys(vault.gone, "It was here and is gone.")
        self._remarks: dict[str, str] = {}
        self._toml_digests: set[str] = set()

    def run(self) -> Rechecked:
        sorts = (objects.FOLDER, records.FOLDER)
        self._total = sum(len(names) for sort in sorts for _, names in self._folders(sort))
        hashed = {sort: self._pass(sort) for sort in sorts}
        self._check_toml()
        damaged = tuple(Damage(files.shown(f), t) for f, t in sorted(self._damaged.items()))
        remarks = tuple(Damage(files.shown(f), t) for f, t in sorted(self._remarks.items()))
        return Rechecked(hashed[objects.FOLDER], hashed[records.FOLDER], damaged, remarks)

    def _pass(self, sort: str) -> int:
        check = self._object if sort == objects.FOLDER else self._record
        counted = 0
        for folder, names in self._folders(sort):
            for name in names:
                digest = name.removesuffix(records.SUFFIX) if sort == records.FOLDER else name
                file = f"{folder}/{name}"
                if self._is_ours(sort, file, name, digest):
                    check(file, digest)
                    counted += 1
                    self._hashed += 1
                self._done += 1
                self._progress(self._done, max(self._done, self._total))
        return counted

    def _folders(self, sort: str) -> Iterator[tuple[str, list[str]]]:
        """Yield each folder of objects or records, and the names in it."""
        for name in self._names(sort):
            if len(name) == 2 and not name.strip("0123456789abcdef"):
                yield f"{sort}/{name}", self._names(f"{sort}/{name}")
            else:
                self._remarks[f"{sort}/{name}"] = "No vault writes a file of this name."

    def _names(self, folder: str) -> list[str]:
        try:
            return files.names_in(self._root / folder)
        except OSError as error:
            self._damaged[folder] = f"The folder cannot be read: {files.words(error)}."
            return []

    def _is_ours(self, sort: str, file: str, name: str, digest: str) -> bool:
        """Tell whether a file stands where its name belongs; else remark on it."""
        right = objects.file_of(digest) if sort == objects.FOLDER else records.file_of(digest)
        if not objects.DIGEST.fullmatch(digest):
            left = name.endswith(files.TEMPORARY)
            self._remarks[file] = (
                "A write that was broken off left this; the next one here removes it."
                if left
                else "No vault writes a file of this name."
            )
            return False
        if file != right:
            self._damaged[file] = f"It stands in the wrong place: its name belongs at {right}."
            return False
        return True

    def _object(self, file: str, digest: str) -> None:
        try:
            found = sha256(files.read_file(f"{self._root}/{file}", objects.MAX_BYTES))
        except OSError as error:
            self._damaged[file] = f"It cannot be read: {files.words(error)}."
            return
        if found != digest:
            self._damaged[file] = f"Its bytes are not what they were: their SHA-256 is {found}."

    def _record(self, file: str, digest: str) -> None:
        try:
            data = files.read_file(f"{self._root}/{file}", records.MAX_BYTES)
            record = records.decode(data, digest)
        except OSError as error:
            self._damaged[file] = f"It cannot be read: {files.words(error)}."
            return
        except ParambakError as error:
            expected, found = error.expected, error.found
            self._damaged[file] = f"{error.text} Expected: {expected}; found: {found}."
            return
        for parent in record.after:
            self._must_be_there(records.file_of(parent), file)
        for needed in record.objects:
            self._must_be_there(objects.file_of(needed), file)
        self._note_first(record)

    def _must_be_there(self, wanted: str, file: str) -> None:
        if wanted not in self._damaged and not files.is_file(f"{self._root}/{wanted}"):
            self._damaged[wanted] = f"It is not there, and {file} names it."

    def _note_first(self, record: Record) -> None:
        about_vault = record.vessel is None and record.kind == FIRST
        if about_vault and record.body.get("vault") == self._vault.identity:
            self._toml_digests.add(str(record.body.get("vault_toml")))

    def _check_toml(self) -> None:
        file = vault_toml.FILE
        try:
            data = vault_toml.read(self._root)
        except ParambakError as error:
            self._damaged[file] = f"{error.text} Found: {error.found}."
            return
        if data is None:
            if self._hashed or not self._vault.made:
                self._damaged[file] = "It is not there."
        elif not self._toml_digests:
            self._accuse_first_record()
        elif sha256(data) not in self._toml_digests:
            self._damaged[file] = "It is not as the vault's first record knows it."

    def _accuse_first_record(self) -> None:
        if not self._hashed:
            text = "The vault was never finished; the next write into it finishes it."
            self._remarks[vault_toml.FILE] = text
        # A damaged record may be the one that knows the digest; it is named already.
        elif not any(file.startswith(records.FOLDER) for file in self._damaged):
            text = "The vault's first record, which holds its digest, is not there."
            self._damaged[vault_toml.FILE] = text
