"""Between a record's file, the index's memory and its database: one record at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault.faults import Mistrusted
from parambak.vault.files import disk
from parambak.vault.records import (
    MAX_BYTES,
    Link,
    Links,
    Stored,
    When,
    decode_checked,
    file_of,
    links_of,
    tells_of_vessel,
)

if TYPE_CHECKING:
    from collections.abc import Iterable


class Row(NamedTuple):
    """A record as the database keeps it; `vessel` is "" where it is about the vault itself.

    `telling` is whether it tells of the vessel itself or is after nothing.
    """

    digest: bytes
    vessel: str
    kind: str
    telling: bool
    data: bytes


def bytes_of(path: str, digest: str) -> tuple[bytes, bool]:
    """Return a file's bytes, and whether they are those of the digest; else OSError."""
    try:
        data = disk.read_quickly(path, MAX_BYTES)
        if sha256(data) == digest:
            return data, True
    except OSError:
        pass  # the slower way tells what is the matter, or waits for a scanner to let go
    return disk.read_file(path, MAX_BYTES), False


def listing_of(names: Iterable[str]) -> str:
    """Return the digest of a folder's listing: of its names in order."""
    return sha256("\n".join(names).encode("utf-8", "surrogateescape"))


NO_LISTING = listing_of(())


def stored_of(digest: str, data: bytes) -> Stored:
    """Return a record from the bytes that the database held, hashed on their way out."""
    try:
        return Stored(digest, decode_checked(data), file_of(digest))
    except ParambakError as error:
        raise Mistrusted("what it holds is no record", damaged=True) from error


def link_of(stored: Stored) -> Link:
    """Return the links of a record that is held as a whole."""
    return Link(stored.digest, Links(stored.record.after, When(stored.record.clock.utc)))


def link_from(digest: str, data: bytes) -> Link:
    """Return the links of a record from the bytes that the database held, hashed."""
    try:
        return Link(digest, links_of(data))
    except ParambakError as error:
        raise Mistrusted("what it holds is no record", damaged=True) from error


def row_of(stored: Stored, data: bytes) -> Row:
    """Return what the database keeps of a record."""
    record = stored.record
    telling = record.vessel is not None and tells_of_vessel(data, record.vessel)
    return Row(bytes.fromhex(stored.digest), record.vessel or "", record.kind, telling, data)
