"""From what survived, under any names: a vault of what can be proven.

Every file is hashed. One that is a record proves itself; one whose digest a record names is
that object. The sources are only read. Memory holds some 300 bytes for each file, never its
content. formats/vault.md, "Recovery".
"""

from __future__ import annotations

import os
import re
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotFound, ParambakError, VaultRefused
from parambak.memory.digests import sha256
from parambak.vault import objects, records, vault_toml
from parambak.vault.check.recheck import SORTS, Damage
from parambak.vault.files import disk
from parambak.vault.files.given import FILE_ABSENT
from parambak.vault.folder import strangers_in
from parambak.vault.joining import Piece
from parambak.vault.own import Own
from parambak.vault.packs import salvage
from parambak.vault.packs.salvage import END_LENGTH, begins_or_ends
from parambak.vault.packs.zip_form import MANIFEST
from parambak.vault.vault import Vault
from parambak.vault.vault_toml import FIRST

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import datetime

    from parambak.vault.records import Record

NOT_EMPTY = Fault(
    "recover-not-empty",
    VaultRefused,
    "A recovery needs a new vault, and this folder is not empty.",
    "Name a new folder with --vault. Merge the two vaults later, when it is clear what was lost.",
)
INSIDE = Fault(
    "recover-inside",
    CallRefused,
    "The new vault and the folders to recover from may not be inside each other.",
    "Name a folder outside them with --vault. The folders to recover from are never written to.",
)
NOTHING = Fault(
    "recover-nothing",
    NotFound,
    "No file in these folders is a record of a vault.",
    "Name the folders or packs that hold what survived. formats/vault.md shows what a record looks "
    "like.",
)

_PACK = b"PK\x03\x04"
_RECORD = b'{"after":['
_NAMED = re.compile(r"([0-9a-f]{64})(?:\.json)?")


class First(NamedTuple):
    """The facts of a vault's first record: its identity, and the digest of its vault.toml."""

    clock: str
    identity: str
    toml: str


class Heap:
    """The files in the folders to recover from: which file has which bytes.

    `count` is how many files were looked at.
    """

    def __init__(self) -> None:
        self.count = 0
        self._refused: list[Damage] = []
        self._unread: list[Damage] = []
        self._misnamed: dict[str, Damage] = {}
        self._no_packs: dict[str, Damage] = {}
        self._records: dict[str, Piece] = {}
        self._files: dict[str, Piece] = {}
        self._named: set[str] = set()
        self._firsts: list[First] = []

    @property
    def empty(self) -> bool:
        """Return whether there is no record at all, so that nothing can be proven."""
        return not self._records

    @property
    def refused(self) -> tuple[Damage, ...]:
        """Return the files that do not match their names, or could not be read, and why."""
        strange = (damage for digest, damage in self._no_packs.items() if digest not in self._named)
        return (*self._refused, *self._unread, *self._misnamed.values(), *strange)

    @property
    def doubtful(self) -> tuple[Damage, ...]:
        """Return those of the refused that may have held bytes that are nowhere else.

        They could not be read, are of a later format, or have names of other bytes.
        """
        held = self._records.keys() | self._files.keys()
        lost = (damage for digest, damage in self._misnamed.items() if digest not in held)
        return (*self._unread, *lost)

    @property
    def unnamed(self) -> int:
        """Count the files that no record names, by their bytes."""
        tomls = {first.toml for first in self._firsts}
        return sum(1 for digest in self._files if digest not in self._named | tomls)

    def pieces(self) -> Iterator[Piece]:
        """Yield what can be proven: the records, and the objects that they name."""
        yield from self._records.values()
        yield from (piece for digest, piece in self._files.items() if digest in self._named)

    def identity(self) -> str | None:
        """Return the identity of the vault that this was; None if no record holds it.

        Of several vaults: one with its vault.toml here too, else the oldest.
        """
        sound = [first for first in self._firsts if _is_right(first)]
        if not sound:
            return None
        with_toml = [first for first in sound if first.toml in self._files]
        return min(with_toml or sound).identity

    def take(self, file: str, data: bytes, read: Callable[[], bytes]) -> None:
        """Take note of a file under any name."""
        digest = sha256(data)
        self._compare_name(file, digest)
        if data.startswith(_RECORD) and len(data) <= records.MAX_BYTES:
            try:
                record = records.decode(data)
            except VaultRefused as error:  # of a later format
                self.miss(file, f"{error.text} Found: {error.found}.")
                return
            except ParambakError:
                pass  # a file like others: a dump may begin so
            else:
                self._records.setdefault(digest, Piece(file, digest, is_record=True, read=read))
                self._learn(record)
                return
        self._files.setdefault(digest, Piece(file, digest, is_record=False, read=read))

    def take_piece(self, piece: Piece) -> None:
        """Take note of a member of a pack, whose name holds its digest."""
        self.take(piece.file, piece.read(), piece.read)

    def refuse(self, file: str, text: str) -> None:
        """Take note of a file that no vault could hold."""
        self._refused.append(Damage(disk.shown(file), text))

    def miss(self, file: str, text: str) -> None:
        """Take note of a file or folder that could not be read, and may be what is lost."""
        self._unread.append(Damage(disk.shown(file), text))

    def miss_member(self, file: str, name: str) -> None:
        """Take note of a member of a damaged pack that is lost with it, unless it is elsewhere."""
        digest = name.rpartition("/")[2].removesuffix(records.SUFFIX)
        text = "Its bytes in this damaged pack do not match its name."
        self._misnamed.setdefault(digest, Damage(disk.shown(f"{file}: {name}"), text))

    def refuse_pack(self, file: str, digest: str, text: str) -> None:
        """Take note of a file that begins like a pack; a dump may begin so too."""
        self._no_packs[digest] = Damage(disk.shown(file), text)

    def _compare_name(self, file: str, digest: str) -> None:
        match = _NAMED.fullmatch(file.replace(os.sep, "/").rpartition("/")[2])
        if match and match[1] != digest:
            text = f"It does not match its name: its SHA-256 is {digest}."
            self._misnamed[match[1]] = Damage(disk.shown(file), text)

    def _learn(self, record: Record) -> None:
        self._named.update(record.objects)
        if record.kind == FIRST and record.vessel is None:
            identity, toml = record.body.get("vault"), record.body.get("vault_toml")
            self._firsts.append(First(record.clock.utc, str(identity), str(toml)))


def new_vault(
    root: Path, heap: Heap, own: Path, clock: Callable[[], datetime], cache: Path | None = None
) -> Vault:
    """Return a vault to be made in `root`, with the identity that the heap states or a new one.

    The first writing makes it. Raises `recover-nothing` if nothing is
    proven, `recover-not-empty` if another vault was begun in `root`.
    """
    if heap.empty:
        found = "1 file" if heap.count == 1 else f"{heap.count} files"
        for unused in heap.refused[:1]:
            found += f"; {unused.file}: {unused.text}"
        raise NOTHING.error(found=found)
    begun, identity = _begun(root), heap.identity()
    refuse_other_vault(root, identity)
    identity = identity or begun or os.urandom(16).hex()
    return Vault(root, identity, own=Own(own), clock=clock, made=True, cache=cache)


def given_sources(names: Iterable[str]) -> list[Path]:
    """Return the files and folders of these names; raise `file-absent` if one is missing."""
    sources = [Path(name) for name in names]
    for source in sources:
        try:
            exists = source.exists()
        except OSError:  # named with the files that cannot be read
            exists = True
        if not exists:
            raise FILE_ABSENT.error(file=str(source))
    return sources


def refuse_unfit_target(root: Path, sources: Sequence[Path]) -> None:
    """Raise VaultRefused or CallRefused if the new vault may not be made in `root`."""
    target = root.resolve()
    for source in sources:
        resolved = source.resolve()
        if resolved == target or resolved in target.parents or target in resolved.parents:
            raise INSIDE.error(file=str(root), expected="a folder outside", found=str(source))
    try:
        strange = strangers_in(root)
        begun = _begun(root)
        if begun:
            strange = [name for name in strange if name not in SORTS]
        elif vault_toml.read(root) is not None:
            strange = [vault_toml.FILE]
    except OSError as error:
        raise NOT_EMPTY.error(file=str(root), found=disk.words(error)) from error
    if strange:
        raise NOT_EMPTY.error(
            file=str(root), expected="an empty folder", found=disk.shown(strange[0])
        )


def refuse_other_vault(root: Path, identity: str | None) -> None:
    """Raise `recover-not-empty` if a vault of another identity was begun in `root`."""
    begun = _begun(root)
    if begun and identity not in (begun, None):
        raise NOT_EMPTY.error(file=str(root), expected=identity, found=f"the vault {begun}")


def _begun(root: Path) -> str | None:
    """Return the identity of a vault in `root` that holds no record but those vaults begin with.

    They are its own and that of the vault that was lost. An interrupted write leaves objects
    that no record names.
    """
    try:
        data = vault_toml.read(root)
        identity = vault_toml.identity_of(data, root) if data else ""
        within = [f"{folder}/{n}" for folder in _inner(root) for n in disk.names_in(folder)]
        first = [n for n in within if not n.endswith(disk.TEMPORARY)]
        read = [records.decode(disk.read_file(n, records.MAX_BYTES)) for n in first[:3]]
    except (OSError, ParambakError):
        return None
    only_first = len(read) <= 2 and all(record.kind == FIRST for record in read)
    return identity if only_first and data == vault_toml.encode(identity) else None


def _inner(root: Path) -> list[Path]:
    return [root / records.FOLDER / name for name in disk.names_in(root / records.FOLDER)]


@contextmanager
def surveyed(sources: Iterable[Path], progress: Callable[[int, int], None]) -> Iterator[Heap]:
    """Look at every file in these folders, and at these files; packs stay open for the block.

    Links to folders are not followed. `progress` gets how many files of how many are done.
    """
    heap = Heap()
    paths = [path for source in sources for path in _files(source, heap)]
    with ExitStack() as packs:
        for done, path in enumerate(paths, start=1):
            heap.count += 1
            _look_at(path, heap, packs)
            progress(done, len(paths))
        yield heap


def _files(source: Path, heap: Heap) -> Iterator[str]:
    if disk.is_file(source):
        yield str(source)
        return
    unread: list[OSError] = []
    for folder, inner, names in os.walk(source, onerror=unread.append):
        inner.sort()
        yield from (os.path.join(folder, name) for name in sorted(names))  # noqa: PTH118 - many
    for error in unread:
        heap.miss(str(error.filename), f"The folder cannot be read: {disk.words(error)}.")


def _look_at(path: str, heap: Heap, packs: ExitStack) -> None:
    try:
        data = disk.read_file(path, objects.MAX_BYTES)
    except disk.UnfitFileError as error:
        if not _is_large_pack(path, heap):
            heap.refuse(path, f"It cannot be read: {disk.words(error)}.")
            return
        data = _PACK
    except OSError as error:
        heap.miss(path, f"It cannot be read: {disk.words(error)}.")
        return
    is_pack = begins_or_ends(data[:4], data[-END_LENGTH:])
    text = _look_into(path, heap, packs) if is_pack else None
    if text is not None:
        heap.refuse_pack(path, sha256(data), text)
    if text is not None or not is_pack:
        heap.take(path, data, partial(disk.read_file, path, objects.MAX_BYTES))


def _is_large_pack(path: str, heap: Heap) -> bool:
    """Return whether a file larger than any object begins as a pack, which may be so large."""
    try:
        with disk.reading(path) as stream:
            begin = stream.read(len(_PACK))
            stream.seek(-END_LENGTH, 2)
            return begins_or_ends(begin, stream.read())
    except disk.UnfitFileError:  # a device, or the like
        return False
    except OSError as error:
        heap.miss(path, f"It cannot be read: {disk.words(error)}.")
        return False


def _look_into(path: str, heap: Heap, packs: ExitStack) -> str | None:
    """Take note of what a pack holds; return why it cannot be read as one."""
    from parambak.vault.packs.reading import opened  # noqa: PLC0415 - most heaps hold no pack

    try:
        pieces = list(packs.enter_context(opened(Path(path))).pieces())
    except (ParambakError, OSError) as error:
        cause = error if isinstance(error, OSError) else error.__cause__
        if not isinstance(cause, OSError):
            return _salvage(path, heap, packs, error)
        heap.miss(path, f"It cannot be read: {disk.words(cause)}.")
        return None
    for piece in pieces:
        try:
            heap.take_piece(piece)
        except (ParambakError, OSError) as error:
            heap.miss(f"{path}: {piece.file}", f"It cannot be read: {error}")
    return None


def _salvage(path: str, heap: Heap, packs: ExitStack, error: ParambakError | OSError) -> str | None:
    """Take note of each member of a damaged pack that is proven; return why there is none."""
    taken: set[int] = set()
    try:
        stream = packs.enter_context(disk.reading(path))
        for member in salvage.members(stream):
            if member.data is None:
                heap.miss_member(path, member.name)
                continue
            if member.hint.name != MANIFEST:
                taken.add(member.hint.at)
                again = partial(salvage.read, stream, member.hint)
                heap.take(f"{path}: {member.name}", member.data, again)
    except OSError as failure:
        heap.miss(path, f"It cannot be read: {disk.words(failure)}.")
        return None
    if not taken:
        return f"It cannot be read as a pack: {error}"
    number = "1 file" if len(taken) == 1 else f"{len(taken)} files"
    heap.refuse(path, f"This pack is damaged; {number} in it were undamaged and went in. {error}")
    return None


def _is_right(first: First) -> bool:
    """Return whether a first record's two members fit, which proves vault.toml to the byte."""
    if not re.fullmatch(r"[0-9a-f]{32}", first.identity):
        return False
    return sha256(vault_toml.encode(first.identity)) == first.toml
