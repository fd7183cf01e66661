"""Reading a pack: strictly, and never by a name in it. formats/packed-vessels.md, "Reading"."""

from __future__ import annotations

import hashlib
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from parambak.errors import ParambakError, VaultDamaged
from parambak.vault import records
from parambak.vault.check.recheck import Damage
from parambak.vault.files import disk
from parambak.vault.joining import Piece
from parambak.vault.packs import writing
from parambak.vault.packs.faults import (
    DAMAGED,
    MANIFEST,
    MEMBERS,
    OTHER_VESSEL,
    READ_BACK,
    UNNAMED_OBJECT,
    UNREADABLE,
)
from parambak.vault.packs.zip_form import Member, content, read_members

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from os import PathLike

    from parambak.vault.packs.writing import Packed
    from parambak.vault.vault import Vault

_CHUNK = 1 << 20


class Pack:
    """A pack of the right form, open; `vessels` gives each identity's short name.

    Every error names the pack's file.
    """

    def __init__(self, stream: BinaryIO, file: str) -> None:
        self._stream = stream
        self._file = file
        with _in_file(file):
            manifest_member, *members = read_members(stream)
            self.manifest = writing.decode(_manifest(stream, manifest_member))
            _refuse_other_members(self.manifest, members)
        self._members = members
        self._damaged: dict[str, str] = {}

    @property
    def vessels(self) -> dict[str, str]:
        """Return the identities of the vessels, each with the short name in the manifest."""
        return {vessel.id: vessel.name for vessel in self.manifest.vessels}

    @property
    def names(self) -> list[str]:
        """Return the names of the files in it, except the manifest."""
        return [member.name for member in self._members]

    def check(self, progress: Callable[[int, int], None]) -> tuple[Damage, ...]:
        """Hash every member; return those that are damaged.

        Raises PackRefused for a record about another vessel and an object that nobody
        names: nothing of that pack is to be taken. One member at a time is in memory, an
        object only in pieces.
        """
        named: set[str] = set()
        with _in_file(self._file):
            for count, member in enumerate(reversed(self._members), start=1):
                try:
                    named |= self._check_one(member)
                except VaultDamaged as error:
                    found = f" Expected: {error.expected}; found: {error.found}."
                    self._damaged[member.name] = error.text + found
                progress(count, len(self._members))
            if not any(name.startswith(records.FOLDER) for name in self._damaged):
                self._refuse_unnamed(named)
        return tuple(Damage(name, text) for name, text in sorted(self._damaged.items()))

    def _check_one(self, member: Member) -> set[str]:
        """Check a member; return the digests of the objects that it names."""
        if not member.name.startswith(records.FOLDER):
            _hash(self._stream, member)
            return set()
        data = b"".join(content(self._stream, member))
        try:
            record = records.decode(data, _digest(member))
        except ParambakError as error:
            raise DAMAGED.error(
                file=member.name, expected=error.expected, found=error.found
            ) from error
        if record.vessel not in self.vessels:
            found = f"vessel {record.vessel}" if record.vessel else "the vault itself"
            raise OTHER_VESSEL.error(expected=" or ".join(self.vessels)[:200], found=found)
        return set(record.objects)

    def _refuse_unnamed(self, named: set[str]) -> None:
        for member in self._members:
            if not member.name.startswith(records.FOLDER) and _digest(member) not in named:
                raise UNNAMED_OBJECT.error(expected="a file that a record names", found=member.name)

    def pieces(self) -> Iterator[Piece]:
        """Yield what can be taken in: every member that is not damaged."""
        for member in self._members:
            if member.name not in self._damaged:
                yield Piece(
                    member.name,
                    _digest(member),
                    member.name.startswith(records.FOLDER),
                    lambda member=member: b"".join(content(self._stream, member)),  # type: ignore[misc]
                )

    def sha256(self) -> str:
        """Return the SHA-256 of the file."""
        digest = hashlib.sha256()
        self._stream.seek(0)
        while piece := self._stream.read(_CHUNK):
            digest.update(piece)
        return digest.hexdigest()


class WrittenPack(NamedTuple):
    """A pack with its own name: its file, length and SHA-256, and what is in it."""

    file: str
    sha256: str
    packed: Packed


@contextmanager
def opened(path: str | PathLike[str]) -> Iterator[Pack]:
    """Open a pack's file for the block; PackRefused if it is no pack or cannot be read."""
    try:
        with disk.reading(Path(path)) as stream:
            yield Pack(stream, str(path))
    except OSError as error:
        raise UNREADABLE.error(file=str(path), found=disk.words(error)) from error


def pack_to_file(
    vault: Vault,
    vessels: Mapping[str, str],
    path: str | PathLike[str],
    progress: Callable[[int, int], None],
    *,
    replace: bool = False,
) -> WrittenPack:
    """Write a pack of these identities as a file, and read it back before it has its name.

    Raises what `write_pack` does, `pack-read-back`, or what a refused export becomes.
    """
    with disk.exporting(Path(path), replace=replace) as stream:
        packed = writing.write_pack(vault, vessels, stream, progress)
        try:
            pack = Pack(stream, str(path))
            damaged = pack.check(progress)
        except ParambakError as error:
            raise READ_BACK.error(
                file=str(path), expected=error.expected, found=error.found
            ) from error
        if damaged:
            raise READ_BACK.error(file=str(path), expected=damaged[0].file, found=damaged[0].text)
        return WrittenPack(str(path), pack.sha256(), packed)


@contextmanager
def _in_file(file: str) -> Iterator[None]:
    """Name the pack in an error; name the member, if there is one, in `found`."""
    try:
        yield
    except ParambakError as error:
        if error.file is not None and error.file != file:
            error.found = f"{error.found or 'this'} at {error.file}"
        error.file = file
        raise


def _digest(member: Member) -> str:
    return member.name.rpartition("/")[2].removesuffix(records.SUFFIX)


def _manifest(stream: BinaryIO, member: Member) -> bytes:
    try:
        return b"".join(content(stream, member))
    except VaultDamaged as error:
        raise MANIFEST.error(
            file=member.name, expected=error.expected, found=error.found
        ) from error


def _refuse_other_members(manifest: writing.Manifest, members: list[Member]) -> None:
    """Hold the manifest's list against the members, name by name and length by length."""
    listed = {entry.file: entry.bytes for entry in manifest.files}
    for member in members:
        if member.name not in listed:
            raise MEMBERS.error(expected="a file that the manifest lists", found=member.name)
        if listed[member.name] != member.size:
            expected = f"{listed[member.name]} bytes at {member.name}"
            raise MEMBERS.error(expected=expected, found=f"{member.size} bytes")
    if len(members) != len(manifest.files):
        names = {member.name for member in members}
        missing = next((e.file for e in manifest.files if e.file not in names), "one name twice")
        raise MEMBERS.error(expected=disk.shown(missing), found="no such member")


def _hash(stream: BinaryIO, member: Member) -> None:
    digest = hashlib.sha256()
    for piece in content(stream, member):
        digest.update(piece)
    if digest.hexdigest() != _digest(member):
        raise DAMAGED.error(
            file=member.name, expected=f"SHA-256 {_digest(member)}", found=digest.hexdigest()
        )
