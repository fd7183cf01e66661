"""Whether a few records, and what they rely on, are sound on the disk at this moment."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.memory.digests import sha256
from parambak.vault.faults import DAMAGED_RECORD
from parambak.vault.files import disk
from parambak.vault.records import MAX_BYTES

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.vault.vault import Stored, Vault


def require_sound(vault: Vault, records: Iterable[Stored]) -> None:
    """Raise VaultDamaged, naming the file, if a record or an object that it names is not sound."""
    proven: set[str] = set()
    for stored in records:
        try:
            found = sha256(disk.read_file(vault.root / stored.file, MAX_BYTES))
        except OSError as error:
            found = disk.words(error)
        if found != stored.digest:
            expected = f"SHA-256 {stored.digest}"
            raise DAMAGED_RECORD.error(file=stored.file, expected=expected, found=found)
        for digest in stored.record.objects:
            if digest not in proven:
                vault.read_object(digest)
                proven.add(digest)
