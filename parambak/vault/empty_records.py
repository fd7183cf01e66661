"""Records that are empty files: what FAT may leave of a write that lost its power.

A record of no bytes can never be right. Where nothing ever told of it, nobody was told that it
was written: it is no damage, and the next writer removes it. formats/vault.md, "Writing".
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from parambak.vault import records
from parambak.vault.files import disk

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.vault.vault import Vault

OLD = 60_000_000_000  # nanoseconds: a younger one may be a file that is being copied in


def untold(vault: Vault, digests: Iterable[str]) -> set[str]:
    """Return those that no record names anywhere, no index held, and this user did not write."""
    written = vault.last_written()
    if written is None:  # not known: any may be among them
        return set()
    found = {digest for digest in digests if digest not in written and not vault.holds(digest)}
    for vessel in (None, *vault.vessels()) if found else ():
        for stored in vault.records(vessel):
            body = records.canonical(stored.record.body).decode() if found else ""
            found -= {d for d in found if d in stored.record.after or d in body}
    return found


def remove(vault: Vault, digests: Iterable[str], now: int) -> None:
    """Remove those that nothing told of; only under the lock, `now` in ns since 1970."""
    for digest in sorted(untold(vault, digests)):
        path = vault.root / records.file_of(digest)
        with suppress(OSError):  # it stays, and is remarked on
            status = path.stat()
            if not status.st_size and now - status.st_mtime_ns > OLD:
                disk.remove(path)
