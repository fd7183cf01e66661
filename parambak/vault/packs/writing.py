"""Packing: whole vessels of a vault in one file. formats/packed-vessels.md."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, BinaryIO, Literal, NamedTuple

import msgspec
from msgspec import Meta, Struct

from parambak.errors import ParambakError
from parambak.vault import objects, records
from parambak.vault.files import disk
from parambak.vault.packs.faults import MANIFEST as MANIFEST_FAULT
from parambak.vault.packs.faults import NEWER, NOT_WHOLE
from parambak.vault.packs.zip_form import MANIFEST, Writer
from parambak.vault.records import Identity, canonical

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from parambak.vault.vault import Vault

FORMAT: Literal[1] = 1
MAX_NAME = 200  # characters of a vessel's short name


class PackedFile(Struct, frozen=True, forbid_unknown_fields=True):
    """A file in a pack: its length in bytes, and its name, as in the vault."""

    bytes: Annotated[int, Meta(ge=0)]
    file: str


class PackedVessel(Struct, frozen=True, forbid_unknown_fields=True):
    """One identity of a vessel, and the short name it went by when it was packed."""

    id: Identity
    name: Annotated[str, Meta(min_length=1, max_length=MAX_NAME)]


class Manifest(Struct, frozen=True, forbid_unknown_fields=True):
    """What a pack lists as its content."""

    files: tuple[PackedFile, ...]
    format: Literal[1]
    vault: Identity
    vessels: Annotated[tuple[PackedVessel, ...], Meta(min_length=1)]


class _Version(Struct):
    format: int


class Packed(NamedTuple):
    """What was packed: numbers of files, the pack's length, and the names of what is in it."""

    objects: int
    records: int
    bytes: int
    files: tuple[str, ...]


_DECODER = msgspec.json.Decoder(Manifest)


def decode(data: bytes) -> Manifest:
    """Return the manifest that `data` holds, having checked every rule; else a PackRefused."""
    try:
        manifest = _DECODER.decode(data)
        same = canonical(manifest) == data
    except (ValueError, RecursionError, msgspec.MsgspecError) as error:
        if (version := _version(data)) > FORMAT:
            raise NEWER.error(
                file=MANIFEST, expected=f"format {FORMAT}", found=str(version)
            ) from error
        found = disk.shown(str(error))
        raise MANIFEST_FAULT.error(file=MANIFEST, expected="its members", found=found) from error
    if not same:
        found = "the same members in another form"
        raise MANIFEST_FAULT.error(file=MANIFEST, expected="canonical JSON", found=found)
    names = [member.file for member in manifest.files]
    if sorted(set(names)) != names:
        expected = "files by rising name, each once"
        raise MANIFEST_FAULT.error(file=MANIFEST, expected=expected, found="others")
    if sorted({vessel.id for vessel in manifest.vessels}) != [v.id for v in manifest.vessels]:
        expected = "vessels by rising identity, each once"
        raise MANIFEST_FAULT.error(file=MANIFEST, expected=expected, found="others")
    return manifest


def _version(data: bytes) -> int:
    try:
        return msgspec.json.decode(data, type=_Version).format
    except (ValueError, RecursionError, msgspec.MsgspecError):
        return 0


def contents(vault: Vault, vessels: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return the digests of all records of these identities, and of all objects they name.

    Raises `pack-not-whole` if a record that another one is after is not there.
    """
    of_records: set[str] = set()
    of_objects: set[str] = set()
    for vessel in vessels:
        stored = vault.records(vessel)
        digests = {record.digest for record in stored}
        for record in stored:
            for parent in record.record.after:
                if parent not in digests:
                    file = str(vault.root / records.file_of(parent))
                    raise NOT_WHOLE.error(file=file, expected=f"a record before {record.file}")
            of_objects.update(record.record.objects)
        of_records |= digests
    return sorted(of_records), sorted(of_objects)


def names_of(of_records: Iterable[str], of_objects: Iterable[str]) -> list[str]:
    """Return the names of these files in a pack, in its order."""
    return [*map(objects.file_of, of_objects), *map(records.file_of, of_records)]


def write_pack(
    vault: Vault,
    vessels: Mapping[str, str],
    out: BinaryIO,
    progress: Callable[[int, int], None],
) -> Packed:
    """Write a pack of these identities, each with its short name; return what is in it.

    Every file is hashed on the way; one that is damaged or missing stops it with
    VaultDamaged. The caller holds the lock if no other write may come in between, reads the
    pack back (unpacking.py), and removes it if this raises. One file at a time is
    in memory.
    """
    of_records, of_objects = contents(vault, sorted(vessels))
    names = names_of(of_records, of_objects)
    manifest = Manifest(
        files=tuple(PackedFile(_length(vault, name), name) for name in names),
        format=FORMAT,
        vault=vault.identity,
        vessels=tuple(PackedVessel(v, name[:MAX_NAME]) for v, name in sorted(vessels.items())),
    )
    writer = Writer(out)
    writer.add(MANIFEST, canonical(manifest))
    for count, digest in enumerate(of_objects, start=1):
        writer.add(objects.file_of(digest), vault.read_object(digest))
        progress(count, len(names))
    for count, digest in enumerate(of_records, start=1 + len(of_objects)):
        writer.add(records.file_of(digest), _record(vault, digest))
        progress(count, len(names))
    return Packed(len(of_objects), len(of_records), writer.finish(), tuple(names))


def _length(vault: Vault, name: str) -> int:
    # One that is not there is named when its bytes are asked for.
    return disk.size_of(vault.root / name) or 0


def _record(vault: Vault, digest: str) -> bytes:
    """Return a record's bytes from its file, hashed; the index is not asked."""
    path = vault.root / records.file_of(digest)
    try:
        data = disk.read_file(path, records.MAX_BYTES)
        records.decode(data, digest)
    except OSError as error:
        raise NOT_WHOLE.error(file=str(path), found=disk.words(error)) from error
    except ParambakError as error:
        raise error.in_file(str(path)) from None
    return data
