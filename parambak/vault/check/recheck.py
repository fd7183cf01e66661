"""Everything in a vault hashed again, from the files alone: the index is not asked.

The user's own folder holds how far a recheck limited in time has come. It is about one folder on
one computer, because a file read on a stick is not read on the disk. If it is lost, the recheck
begins again.

Memory grows with the damage, and to some 20 MB at most with the vault: names of objects and records
that are present, or still to be looked for.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Annotated, NamedTuple

import msgspec
from msgspec import Meta, Struct

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import objects, records, vault_toml
from parambak.vault.files import disk
from parambak.vault.records import Utc, canonical

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from parambak.vault.records import Record
    from parambak.vault.vault import Vault

SORTS = (objects.FOLDER, records.FOLDER)
_DIGITS = 64
_HEXADECIMAL = b"0123456789abcdef"
# How the names in a folder end; no ending has a hexadecimal digit in it.
_ENDINGS = {objects.FOLDER: "", records.FOLDER: records.SUFFIX}
_MOST_PRESENT = 1 << 15  # names of each sort held in memory as present
_MOST_NAMED = 256  # names looked for in one folder at once
_MAX_CYCLE = 16 << 20  # bytes of the file that keeps how far a recheck came


class Damage(NamedTuple):
    """A file within the vault, and what is wrong with it or unusual."""

    file: str
    text: str


class Cycle(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What has been read since `began` (UTC).

    `folders` gives for each folder read through, such as `objects/ab`, how many files it
    held; `damaged` the damage there, by file, which is checked again each time.
    """

    began: Utc
    folders: dict[str, Annotated[int, Meta(ge=0)]] = {}
    damaged: dict[str, str] = {}

    def counted(self, sort: str) -> int:
        """Return how many files of `objects` or of `records` have been read."""
        return sum(n for folder, n in self.folders.items() if folder.startswith(sort + "/"))


_CYCLE = msgspec.json.Decoder(Cycle)


class Rechecked(NamedTuple):
    """How many files of each sort were hashed, what is damaged, and what is only remarked on.

    `remarks` are files that no vault writes (the system's, a sync program's) and temporary
    files that a broken-off write left; the next write into their folder removes the latter.
    `unread` counts the files that a limit in time left; `cycle` is what to go on from.
    """

    objects: int
    records: int
    damaged: tuple[Damage, ...]
    remarks: tuple[Damage, ...]
    unread: int
    cycle: Cycle


class Terms(NamedTuple):
    """What a recheck gets from its caller.

    `now` (UTC) is when a new cycle begins. `enough` is asked after each folder, and ends the run.
    `fault` returns what is wrong with a record of sound bytes, given with its digest.
    """

    now: str = "1970-01-01T00:00:00Z"
    enough: Callable[[], bool] = lambda: False
    fault: Callable[[Record, str], str | None] = lambda _record, _digest: None


def time_limit(minutes: int | None) -> Callable[[], bool]:
    """Return a function that is true once so many minutes have passed; None is no limit."""
    end = time.monotonic() + 60 * minutes if minutes else None
    return lambda: end is not None and time.monotonic() >= end


def recheck(
    vault: Vault,
    progress: Callable[[int, int], None],
    *,
    cycle: Cycle | None = None,
    terms: Terms | None = None,
) -> Rechecked:
    """Hash every object and record again; find what is edited, gone, or out of its place.

    `progress` gets how many files of how many are done. A record must match its name, be `after`
    records that exist, and name objects that exist. `cycle` is one to go on with; it begins again
    if files are missing since.
    """
    return _Recheck(vault, progress, terms or Terms()).run(cycle)


class _Recheck:
    """One run."""

    def __init__(self, vault: Vault, progress: Callable[[int, int], None], terms: Terms) -> None:
        self._vault = vault
        self._root = vault.root
        self._progress = progress
        self._terms = terms
        self._damaged: dict[str, str] = dict.fromkeys(vault.gone, "It was here and is missing now.")
        self._remarks: dict[str, str] = {}
        self._toml_digests: set[str] = set()
        self._named: dict[str, bytearray] = {}
        self._objects: set[str] = set()  # proven to be there
        self._records: set[str] = set()
        self._listed: dict[str, list[str]] = {}  # the names in folders not yet read
        self._listed_count = 0  # how many names those are
        self._empty: dict[str, str] = {}  # empty records, and what their files hold

    def run(self, cycle: Cycle | None) -> Rechecked:
        held = {folder: self._held(folder) for sort in SORTS for folder in self._folders(sort)}
        gone_on = cycle is not None and all(held.get(f, -1) >= n for f, n in cycle.folders.items())
        if cycle is None or not gone_on:
            cycle = Cycle(began=self._terms.now)
        self._look_again(cycle.damaged)
        remaining = [folder for folder, count in held.items() if cycle.folders.get(folder) != count]
        counted = self._pass(remaining, held)
        unread = sum(held[folder] for folder in remaining if folder not in counted)
        self._look_for_named()
        harmless = self._judge_empty()
        folders = {**cycle.folders, **counted}
        complete = len(counted) == len(held)
        self._check_toml(complete=complete, empty=sum(folders.values()) == harmless)
        after = Cycle(began=cycle.began, folders=folders, damaged=self._damaged)
        return Rechecked(
            after.counted(objects.FOLDER),
            after.counted(records.FOLDER),
            tuple(Damage(disk.shown(f), t) for f, t in sorted(self._damaged.items())),
            tuple(Damage(disk.shown(f), t) for f, t in sorted(self._remarks.items())),
            unread,
            after,
        )

    def _pass(self, remaining: list[str], held: dict[str, int]) -> dict[str, int]:
        """Hash what these folders hold, till it is enough; return the files of each one done."""
        counted: dict[str, int] = {}
        total = sum(held.values())
        done = total - sum(held[folder] for folder in remaining)
        for folder in remaining:
            if counted and self._terms.enough():
                break
            counted[folder] = self._folder(folder)
            done += counted[folder]
            self._progress(done, max(done, total))
        return counted

    # --- the tree ---

    def _folders(self, sort: str) -> Iterable[str]:
        """Return each folder of objects or records."""
        folders = []
        for name in self._names(sort):
            if len(name) == 2 and not name.strip("0123456789abcdef"):
                folders.append(f"{sort}/{name}")
            else:
                self._remarks[f"{sort}/{name}"] = "No vault writes a file with this name."
        return folders

    def _held(self, folder: str) -> int:
        """Return how many files of a folder are to be hashed."""
        names = self._names(folder)
        if self._listed_count < _MOST_PRESENT:  # else it is listed again: slower, with less memory
            self._listed[folder] = names
            self._listed_count += len(names)
        return len(names) if _all_named(folder, names) else sum(_named(folder, n) for n in names)

    def _names(self, folder: str) -> list[str]:
        try:
            return disk.names_in(self._root / folder)
        except OSError as error:
            self._damaged[folder] = f"The folder cannot be read: {disk.words(error)}."
            return []

    def _folder(self, folder: str) -> int:
        """Hash what a folder holds; return how many of its files are a vault's."""
        names = self._listed.pop(folder, None) or self._names(folder)
        if not _all_named(folder, names):
            for name in names:
                if not _named(folder, name):
                    self._stranger(f"{folder}/{name}", name)
            names = [name for name in names if _named(folder, name)]
        check = self._record if folder.startswith(records.FOLDER) else self._object
        with disk.QuickFolder(f"{self._root}/{folder}") as within:
            for name in names:
                check(within, name, name[:_DIGITS])
        return len(names)

    def _stranger(self, file: str, name: str) -> None:
        """Remark on a file that does not belong in its folder."""
        sort = file.partition("/")[0]
        if _all_named(f"{sort}/{name[:2]}", [name]):
            right = f"{file.partition('/')[0]}/{name[:2]}/{name}"
            self._damaged[file] = f"It is in the wrong folder: its name belongs at {right}."
        elif name.endswith(disk.TEMPORARY):
            text = "An interrupted write left this file. The next write in this folder removes it."
            self._remarks[file] = text
        else:
            self._remarks[file] = "No vault writes a file with this name."

    # --- each file ---

    def _object(self, within: disk.QuickFolder, name: str, digest: str) -> None:
        try:
            if sha256(within.read(name, objects.MAX_BYTES)) == digest:
                if len(self._objects) < _MOST_PRESENT:
                    self._objects.add(digest)
                return
        except OSError:
            pass  # the second look, which is slower, shows what is wrong
        if text := self._object_fault(digest):
            self._damaged[objects.file_of(digest)] = text

    def _object_fault(self, digest: str) -> str | None:
        try:
            path = self._root / objects.file_of(digest)
            actual = sha256(disk.read_file(path, objects.MAX_BYTES))
        except OSError as error:
            return f"It cannot be read: {disk.words(error)}."
        if actual != digest:
            return f"Its bytes are not what they were: their SHA-256 is {actual}."
        return None

    def _record(self, within: disk.QuickFolder, name: str, digest: str) -> None:
        try:
            data = within.read(name, records.MAX_BYTES)
            record: Record | str = records.decode(data, digest)
        except (OSError, ParambakError):
            record = self._decoded(digest)
        if isinstance(record, str):
            empty = disk.size_of(self._root / records.file_of(digest)) == 0
            if empty:
                self._empty[digest] = record
            else:
                self._damaged[records.file_of(digest)] = record
            return
        if text := self._terms.fault(record, digest):
            self._damaged[records.file_of(digest)] = text
        if not self._records.issuperset(record.after):
            self._note_named(records.FOLDER, self._records, record.after, digest)
        if not self._objects.issuperset(record.objects):
            self._note_named(objects.FOLDER, self._objects, record.objects, digest)
        if len(self._records) < _MOST_PRESENT:
            self._records.add(digest)
        if record.vessel is None:
            self._note_first(record)

    def _decoded(self, digest: str) -> Record | str:
        """Return the record, or what is wrong with its file."""
        try:
            path = self._root / records.file_of(digest)
            return records.decode(disk.read_file(path, records.MAX_BYTES), digest)
        except OSError as error:
            return f"It cannot be read: {disk.words(error)}."
        except ParambakError as error:
            return f"{error.text} Expected: {error.expected}; found: {error.found}."

    def _look_again(self, damaged: dict[str, str]) -> None:
        """Keep the damage of an earlier run, unless the file is right again."""
        for file, text in damaged.items():
            name = file.rpartition("/")[2]
            digest = name.removesuffix(records.SUFFIX)
            if file == records.file_of(digest) and objects.DIGEST.fullmatch(digest):
                record = self._decoded(digest)
                still = isinstance(record, str) or self._terms.fault(record, digest) is not None
            elif file == objects.file_of(digest):
                still = self._object_fault(digest) is not None
            else:  # a folder and vault.toml are looked at each time
                still = disk.is_file(self._root / file) and file != vault_toml.FILE
            if still:
                self._damaged.setdefault(file, text)

    # --- what records name ---

    def _note_named(
        self, sort: str, present: set[str], digests: Iterable[str], record: str
    ) -> None:
        """Note that a record names what must be there; look in a folder once enough are noted."""
        for digest in digests:
            if digest in present:
                continue
            folder = f"{sort}/{digest[:2]}"
            pairs = self._named.setdefault(folder, bytearray())
            pairs += bytes.fromhex(digest + record)  # packed: there are many
            if len(pairs) >= _MOST_NAMED * _DIGITS:
                self._look_in(folder)

    def _look_for_named(self) -> None:
        for folder in sorted(self._named):
            self._look_in(folder)

    def _look_in(self, folder: str) -> None:
        packed = self._named.pop(folder)
        present = self._records if folder.startswith(records.FOLDER) else self._objects
        pairs = [packed[at : at + _DIGITS].hex() for at in range(0, len(packed), _DIGITS)]
        pairs = [pair for pair in pairs if pair[:_DIGITS] not in present]
        names = set(self._names(folder)) if pairs else set()
        if folder in self._damaged:  # it cannot be read, so nothing in it is proven to be gone
            return
        ending = records.SUFFIX if folder.startswith(records.FOLDER) else ""
        for pair in pairs:
            name = pair[:_DIGITS] + ending
            if name not in names:
                text = f"It is missing, and {records.file_of(pair[_DIGITS:])} names it."
                self._damaged.setdefault(f"{folder}/{name}", text)

    def _judge_empty(self) -> int:
        """Call an empty record damage, unless nothing names it; return how many are not named."""
        harmless = self._vault.unacknowledged(self._empty) if self._empty else set()
        for digest, fault in self._empty.items():
            file = records.file_of(digest)
            if digest in harmless and file not in self._damaged:
                text = "An interrupted write left this file empty. A later write removes it."
                self._remarks[file] = text
            else:
                self._damaged[file] = fault
        return len(harmless)

    # --- vault.toml ---

    def _note_first(self, record: Record) -> None:
        about_vault = record.vessel is None and record.kind == vault_toml.FIRST
        if about_vault and record.body.get("vault") == self._vault.identity:
            self._toml_digests.add(str(record.body.get("vault_toml")))

    def _check_toml(self, *, complete: bool, empty: bool) -> None:
        file = vault_toml.FILE
        if not complete:  # the first record may be in a folder that this run did not read
            for stored in self._vault.records(None):
                self._note_first(stored.record)
        try:
            data = vault_toml.read(self._root)
        except ParambakError as error:
            self._damaged[file] = f"{error.text} Found: {error.found}."
            return
        if data is None:
            if not empty or not self._vault.made:
                self._damaged[file] = "It is missing."
        elif not self._toml_digests:
            self._accuse_first_record(empty=empty)
        elif sha256(data) not in self._toml_digests:
            self._damaged[file] = "It is not as the vault's first record has it."

    def _accuse_first_record(self, *, empty: bool) -> None:
        if empty:
            text = "The vault is not complete. The next write into it completes it."
            self._remarks[vault_toml.FILE] = text
        # A damaged record may be the one that names the digest; it is listed already.
        elif not any(file.startswith(records.FOLDER) for file in self._damaged):
            text = "The vault's first record, which holds its SHA-256, is missing."
            self._damaged[vault_toml.FILE] = text


def _all_named(folder: str, names: list[str]) -> bool:
    """Return whether a vault gives all these names to files of that folder.

    The names of a folder are judged together: one by one they would cost more than the hashing.
    """
    ending = _ENDINGS[folder[:-3]] + "\n"
    text = "\n".join([*names, ""])
    endings = text.encode("ascii", "replace").translate(None, _HEXADECIMAL)
    return (
        set(map(len, names)) <= {_DIGITS + len(ending) - 1}
        and endings == ending.encode() * len(names) == text.count(ending) * ending.encode()
        and ("\n" + text).count("\n" + folder[-2:]) == len(names)
    )


def _named(folder: str, name: str) -> bool:
    return _all_named(folder, [name])


# --- how far a recheck came ---


def load_cycle(own: Path, mark: str) -> Cycle | None:
    """Return the cycle that was begun on the folder of that mark, or None."""
    try:
        return _CYCLE.decode(disk.read_file(_cycle_file(own, mark), _MAX_CYCLE))
    except (OSError, ValueError, RecursionError, msgspec.MsgspecError):
        return None  # to begin again is always right


def keep_cycle(own: Path, mark: str, cycle: Cycle) -> None:
    """Note how far a cycle has come; raises OSError."""
    disk.write_plain(_cycle_file(own, mark), canonical(cycle))


def forget_cycle(own: Path, mark: str) -> None:
    """Forget a cycle: it is complete, or another was begun."""
    disk.remove(_cycle_file(own, mark))


def _cycle_file(own: Path, mark: str) -> Path:
    if not objects.DIGEST.fullmatch(mark):
        raise ValueError("a mark is a digest")
    return own / "rechecks" / f"{mark}.json"
