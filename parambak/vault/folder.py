"""The folder of a vault: whose it is, and whether a new vault may be made in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import ParambakError
from parambak.vault import objects, records, vault_toml
from parambak.vault.faults import ABSENT, NEWER, NOT_A_VAULT, UNREADABLE
from parambak.vault.files import disk

if TYPE_CHECKING:
    from pathlib import Path

LOCK = "lock"


def identity_in(root: Path, data: bytes) -> str:
    """Return the identity that vault.toml states; raise for one that cannot be read or is newer."""
    try:
        return vault_toml.identity_of(data, root / vault_toml.FILE)
    except ParambakError as error:
        changed = error.code in {NEWER.code, NOT_A_VAULT.code}
        damage = vault_toml.damage_of(root, data) if changed else None
        raise damage or error from error.__cause__


def strangers_in(root: Path) -> list[str]:
    """Return the names in a folder except what a vault that was never finished leaves there."""
    names = disk.names_in(root)
    bare = [n for n in (objects.FOLDER, records.FOLDER) if disk.is_bare(root / n)]
    expected = {LOCK, vault_toml.FILE, *bare}
    return [n for n in names if n not in expected and not n.endswith(disk.TEMPORARY)]


def refuse_unless_new(root: Path, *, create: bool) -> None:
    """Refuse a folder that holds something else, and one that is not to become a vault."""
    try:
        strange = strangers_in(root)
    except OSError as error:
        raise UNREADABLE.error(file=str(root), found=disk.words(error)) from error
    if strange:
        damage = vault_toml.damage_of(root, None)
        if damage is not None:
            raise damage
        found = f"no {vault_toml.FILE}, but {disk.shown(strange[0])}"
        raise NOT_A_VAULT.error(file=str(root), expected=vault_toml.FILE, found=found)
    if not create:
        found = "an empty folder" if root.is_dir() else "no such folder"
        raise ABSENT.error(file=str(root), expected=vault_toml.FILE, found=found)
