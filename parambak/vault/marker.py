"""Whether a vault.toml that names a later format is one, or a damaged one of this format."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import ParambakError, VaultRefused
from parambak.memory.digests import sha256
from parambak.vault import records, vault_toml
from parambak.vault.faults import TOML_DAMAGED
from parambak.vault.files import disk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from parambak.vault.records import Record

FIRST = "vault"  # the kind of the vault's first record


def damage_of(root: Path, data: bytes) -> ParambakError | None:
    """Return the refusal of a damaged vault.toml; None where the vault may truly be newer.

    It is damaged where a first record holds the digest of another one, none holds its own,
    and no record is of a later format: a newer version would have written one of its own.
    """
    known = None
    try:
        for record in _records(root):
            if record.kind == FIRST and record.vessel is None:
                if record.body.get("vault_toml") == sha256(data):
                    return None
                identity = str(record.body.get("vault"))
                if sha256(vault_toml.encode(identity)) == record.body.get("vault_toml"):
                    known = identity
    except (OSError, VaultRefused):
        return None
    if known is None:
        return None
    found = disk.shown(data.decode("utf-8", "replace"))
    path, expected = str(root / vault_toml.FILE), f'format = {vault_toml.FORMAT}, vault = "{known}"'
    return TOML_DAMAGED.error(file=path, expected=expected, found=found)


def _records(root: Path) -> Iterator[Record]:
    """Yield the sound records; raises `vault-newer` at one of a later format."""
    for folder in disk.stamps_in(root / records.FOLDER):
        for name in disk.names_in(root / records.FOLDER / folder):
            if records.named_by(name):
                path = root / records.FOLDER / folder / name
                data = disk.read_file(path, records.MAX_BYTES)
                try:
                    yield records.decode(data, name.removesuffix(records.SUFFIX))
                except VaultRefused:
                    raise
                except ParambakError:
                    continue  # damaged: it tells nothing
