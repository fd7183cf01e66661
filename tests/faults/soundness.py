"""What must be true of a vault after anything at all."""

from __future__ import annotations

import os
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from parambak.vault.check.recheck import recheck
from parambak.vault.files import disk
from parambak.vault.vault import Vault
from tests.faults.commands import Fixed

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

NO_FACT = ("lock", "index.sqlite")
"""Beginnings of names of files that hold no fact."""


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Return the files of a folder that hold facts, without temporary ones: name to bytes."""
    found = {}
    for above, _, names in os.walk(folder):  # what cannot be read is not there
        for name in names:
            path = Path(above) / name
            if name.startswith(NO_FACT) or name.endswith(disk.TEMPORARY):
                continue
            with suppress(OSError):
                found[path.relative_to(folder).as_posix()] = path.read_bytes()
    return found


def facts(held: Mapping[str, bytes]) -> dict[str, bytes]:
    """Return those that are objects, records and vault.toml, under their names."""
    return {
        name: data
        for name, data in held.items()
        if name.startswith(("objects/", "records/", "vault.toml"))
    }


def lost(before: Mapping[str, bytes], after: Mapping[str, bytes]) -> list[str]:
    """Return the files that are gone or changed."""
    return sorted(name for name, data in before.items() if after.get(name) != data)


def open_vault(folder: Path, *, create: bool = False) -> Vault:
    """Open the vault of a case's folder as the commands do."""
    return Vault.open(folder / "vault", own=folder / "own", clock=Fixed.clock, create=create)


def faults_of(folder: Path, *, allowed: Iterable[str] = ()) -> list[str]:
    """Return everything that is wrong with a vault: damage, and what it reports by itself.

    None if there is no vault, or none yet. `allowed` are codes of findings that are true.
    """
    toml = folder / "vault" / "vault.toml"
    if not toml.exists() or not toml.stat().st_size:
        held = facts(bytes_of(folder / "vault")) if (folder / "vault").exists() else {}
        return [f"{name} stands without vault.toml" for name in held if name != toml.name]
    vault = open_vault(folder)
    found = recheck(vault, lambda _done, _of: None)
    wrong = [f"{each.file}: {each.text}" for each in found.damaged]
    strange = [f"{e.file}: {e.text}" for e in found.remarks if not _left(e.file)]
    said = [f"{f.code}: {f.text}" for f in vault.warnings if f.code not in set(allowed)]
    vault.close()
    return [*wrong, *strange, *said]


def _left(file: str) -> bool:
    """Return whether a remark is on what a broken-off write may leave."""
    return file.endswith(disk.TEMPORARY) or file == "vault.toml"


def records_of(folder: Path) -> Counter[str]:
    """Return how many records of each kind the vault holds, in its files' own words."""
    import json

    kinds: Counter[str] = Counter()
    for path in (folder / "vault" / "records").rglob("*.json"):
        kinds[json.loads(path.read_bytes())["kind"]] += 1
    return kinds
