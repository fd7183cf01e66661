"""A backup location: its store opened, its marker, its contents, and what is refused there.

Sending is in send.py; formats/backup-locations.md specifies all of it.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import objects, records, vault_toml
from parambak.vault.faults import NOT_A_VAULT
from parambak.vault.files import disk
from parambak.vault.locations.address import SFTP
from parambak.vault.locations.faults import (
    ABSENT,
    ANOTHER,
    FORMAT_UNKNOWN,
    FULL,
    KIND,
    LOST,
    MARKER,
    NOT_EMPTY,
    OTHER_VAULT,
    UNREACHABLE,
    UNWRITABLE,
)
from parambak.vault.locations.stores import FolderStore
from parambak.vault.records import Clock, Record, encode
from parambak.vault.vault_toml import FIRST

if TYPE_CHECKING:
    from collections.abc import Collection

    from parambak.vault.locations.address import Address
    from parambak.vault.locations.stores import SshTerms, Store

FILE = "backup-location.toml"
FORMAT = 1
PACKS = "packs"
DAMAGED = "damaged"
_TEXT = (
    "# A backup location of a parambak vault. Written once, never edited.\n"
    'format = {}\nlocation = "{}"\n'
)
_WRITTEN = re.compile(
    re.escape(_TEXT).replace(r"\{\}", "([0-9]{1,9})", 1).replace(r"\{\}", "([0-9a-f]{32})").encode()
)
_MAX = 4096
# What a system or a person may have left in the top folder of an empty stick.
_HARMLESS = frozenset(
    {
        FILE,
        PACKS,
        "lock",
        "lost+found",
        "System Volume Information",
        "$RECYCLE.BIN",
        "desktop.ini",
        DAMAGED,
    }
)


class Contents(NamedTuple):
    """What is at an address: the marker's identity and the vault's, None if there is none.

    `vault` is "" if its file is damaged.
    """

    location: str | None
    vault: str | None
    packed: bool
    empty: bool


def marker(identity: str) -> bytes:
    """Return the bytes of backup-location.toml."""
    return _TEXT.format(FORMAT, identity).encode()


def new_identity() -> str:
    """Return an identity for a new backup location, 32 hexadecimal digits at random."""
    return os.urandom(16).hex()


def open_store(address: Address, writer: str, ssh: SshTerms) -> Store:
    """Return the store at an address; the folder need not be there yet.

    `writer` is the user's identity as a writer, by which temporary files are stated. Raises
    ParambakError if it cannot be reached, is not recognised, or a library is missing.
    """
    if address.is_folder:
        try:
            return FolderStore(Path(address.path))
        except (OSError, ValueError) as error:
            raise UNREACHABLE.error(file=address.text, found=str(error)) from error
    if address.scheme in SFTP:
        from parambak.vault.locations.store_sftp import connect  # noqa: PLC0415 - only for a server

        return connect(address, writer, ssh)
    from parambak.vault.locations.store_fsspec import reach  # noqa: PLC0415 - only for such a store

    return reach(address, writer)


def contents_at(store: Store) -> Contents:
    """Return what is at a store's address; raise VaultRefused if that is not clear."""
    try:
        names = store.names("")
        location = _marked(_read(store, FILE), f"{store.shown}/{FILE}")
        data = _read(store, vault_toml.FILE)
        packed = PACKS in names
        packs = packed and any(name.endswith(".zip") for name in store.names(PACKS))
    except OSError as error:
        raise UNREACHABLE.error(file=store.shown, found=disk.words(error)) from error
    return Contents(
        location,
        _identity(data, store.shown, placed=location is not None),
        packed=packed,
        empty=not packs and not any(_is_strange(name) for name in names),
    )


def _is_strange(name: str) -> bool:
    return name not in _HARMLESS and not name.startswith(".") and not name.endswith(".tmp")


def _identity(data: bytes | None, shown: str, *, placed: bool) -> str | None:
    if data is None:
        return None
    file = f"{shown}/{vault_toml.FILE}"
    try:
        return vault_toml.identity_of(data, file)
    except ParambakError as error:
        if placed and error.code == NOT_A_VAULT.code:
            return ""  # damaged, and the marker shows what it was part of: sending repairs it
        raise


def _read(store: Store, file: str) -> bytes | None:
    try:
        return store.read(file, _MAX)
    except FileNotFoundError:
        return None


def _marked(data: bytes | None, file: str) -> str | None:
    if data is None:
        return None
    match = _WRITTEN.fullmatch(data)
    if match is None:
        raise MARKER.error(file=file, expected="three lines", found=disk.shown(repr(data[:80])))
    if int(match[1]) != FORMAT:
        expected, found = f"format {FORMAT}", f"format {int(match[1])}"
        raise FORMAT_UNKNOWN.error(file=file, expected=expected, found=found)
    return match[2].decode()


def make_location(  # noqa: PLR0913 - what has to agree, all by keyword
    store: Store,
    *,
    vault: str,
    known: Collection[str],
    limited: bool,
    packed: bool,
    merge: bool,
) -> str:
    """Make an address a location and return its identity; one that is a location stays as it is.

    `vault` is the vault's identity, `known` those of the backup locations in its records. Refuses a
    folder of something else and, without `merge`, another vault or a backup location of one.
    """
    contents = contents_at(store)
    _refuse_another_kind(store, contents, packed=packed)
    if (
        contents.location is None
        and contents.vault is None
        and not (contents.empty or contents.packed)
    ):
        raise NOT_EMPTY.error(file=store.shown, expected="an empty folder", found="other files")
    ours = contents.location in known or contents.vault == vault or contents.empty
    if not ours and not merge:
        expected = f"nothing, or vault {vault[:8]}"
        holder = (
            f"vault {contents.vault[:8]}"
            if contents.vault
            else f"backup location {(contents.location or '')[:8]}"
        )
        raise OTHER_VAULT.error(file=store.shown, expected=expected, found=holder)
    identity = contents.location or new_identity()
    if contents.location is None:
        _write(store, FILE, marker(identity))
    if packed and not contents.packed:
        begin_packs(store)
    elif not packed and contents.vault is None:
        _write(store, vault_toml.FILE, vault_toml.encode(identity if limited else vault))
    return identity


def begin_packs(store: Store) -> None:
    """Make the folder of packs."""
    _write(store, f"{PACKS}/README.txt", _PACKS_TEXT)


def _write(store: Store, file: str, data: bytes) -> None:
    try:
        store.write(file, data)
    except FileNotFoundError as error:
        found = disk.words(error)
        raise ABSENT.error(file=store.shown, expected="a parent folder", found=found) from error
    except OSError as error:
        raise refusal(store, error, 0, 1) from error


_PACKS_TEXT = (
    b"One pack for each vessel. `parambak unpack FILE` takes one into a vault;\n"
    b"formats/backup-locations.md and formats/packed-vessels.md describe it.\n"
)


def _refuse_another_kind(store: Store, contents: Contents, *, packed: bool) -> None:
    if packed and contents.vault is not None:
        raise KIND.error(file=store.shown, expected="packs", found="a vault")
    if not packed and contents.packed:
        raise KIND.error(file=store.shown, expected="a vault", found="packs")


def refusal(store: Store, error: OSError, done: int, total: int) -> ParambakError:
    """Return what a failure of a location becomes, `done` of `total` files being proven there."""
    fault = LOST
    if error.errno in disk.FULL:
        fault = FULL
    elif error.errno in disk.REFUSED:
        fault = UNWRITABLE
    return fault.error(file=store.shown, found=disk.words(error), done=done, total=total)


def require_location(store: Store, identity: str, *, packed: bool) -> Contents:
    """Return what is at an address; raise VaultRefused if it is not that backup location."""
    contents = contents_at(store)
    if contents.location is None:
        content = "an empty folder" if contents.empty else "no marker"
        raise ABSENT.error(
            file=store.shown, expected=f"{FILE} of backup location {identity[:8]}", found=content
        )
    if contents.location != identity:
        expected, marked = (
            f"backup location {identity[:8]}",
            f"backup location {contents.location[:8]}",
        )
        raise ANOTHER.error(file=store.shown, expected=expected, found=marked)
    _refuse_another_kind(store, contents, packed=packed)
    return contents


def first_record(identity: str) -> tuple[str, bytes]:
    """Return the first record of a limited location: its digest and its bytes, always the same.

    It is about nobody: the backup location is its own writer, and its clock is 1970.
    """
    toml = vault_toml.encode(identity)
    record = Record(
        format=1,
        kind=FIRST,
        after=(),
        clock=Clock(utc="1970-01-01T00:00:00Z", offset=0),
        writer=identity,
        objects=(),
        body={"vault": identity, "vault_toml": sha256(toml)},
    )
    return encode(record)


class Listing:
    """What a backup location has: the sizes of its objects and records, by digest."""

    def __init__(self, store: Store) -> None:
        self.objects = self._sizes(store, objects.FOLDER, "")
        self.records = self._sizes(store, records.FOLDER, records.SUFFIX)

    @staticmethod
    def _sizes(store: Store, sort: str, suffix: str) -> dict[str, int]:
        sizes: dict[str, int] = {}
        for folder in sorted(store.names(sort)):
            if len(folder) != 2 or folder.strip("0123456789abcdef"):
                continue
            for name, size in store.names(f"{sort}/{folder}").items():
                digest = name.removesuffix(suffix) if name.endswith(suffix) else ""
                if objects.DIGEST.fullmatch(digest) and digest.startswith(folder) and size >= 0:
                    sizes[digest] = size
        return sizes


def put_aside(store: Store, file: str) -> None:
    """Move a file whose content does not fit its name into the folder of damaged files."""
    name = file.rpartition("/")[2]
    taken = store.names(DAMAGED)
    number = 1
    while f"{name}-{number}" in taken:
        number += 1
    store.rename(file, f"{DAMAGED}/{name}-{number}")
