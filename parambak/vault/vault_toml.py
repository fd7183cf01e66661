"""vault.toml: the format's number and the vault's identity, written once."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.errors import ParambakError, VaultRefused
from parambak.memory.digests import sha256
from parambak.vault import records
from parambak.vault.faults import (
    FIRST_RECORD_MISSING,
    NEWER,
    NOT_A_VAULT,
    TOML_CHANGED,
    TOML_DAMAGED,
    TOML_LOST,
    UNREADABLE,
)
from parambak.vault.files import disk

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from parambak.vault.records import Record, Stored

FILE = "vault.toml"
FORMAT = 1
FIRST = "vault"  # the kind of the vault's first record, which holds the digest of vault.toml
MAX_BYTES = 4096
_TEXT = (
    "# A parambak vault. Written once, never edited: the vault's first record holds its digest.\n"
    "format = 1\n"
    'vault = "{}"\n'
)
DOUBTS = {
    FIRST_RECORD_MISSING: "The vault's first record is missing: it was never written, or records "
    "are gone.",
    TOML_CHANGED: f"{FILE} is not as the vault's first record has it.",
}
_WRITTEN = re.compile(re.escape(_TEXT).replace(r"\{\}", "([0-9a-f]{32})").encode())
_IDENTITY = re.compile(r"[0-9a-f]{32}")


def encode(identity: str) -> bytes:
    """Return the bytes of vault.toml for a vault of that identity."""
    return _TEXT.format(identity).encode()


def read(root: Path) -> bytes | None:
    """Return the bytes of a folder's vault.toml; None if it or the folder is not there.

    An empty one counts as missing: a power failure during its making may leave that on FAT.
    """
    path = root / FILE
    try:
        return disk.read_file(path, MAX_BYTES) or None
    except FileNotFoundError:
        return None
    except NotADirectoryError:
        raise NOT_A_VAULT.error(file=str(root), expected="a folder", found="a file") from None
    except OSError as error:
        raise UNREADABLE.error(file=str(path), found=disk.words(error)) from error


def identity_of(data: bytes, path: Path | str) -> str:
    """Return the identity that vault.toml holds, edited or not; else a refusal."""
    match = _WRITTEN.fullmatch(data)
    return match[1].decode() if match else _parsed(data, str(path))


def _table(data: bytes, file: str) -> dict[str, object]:
    import tomllib  # noqa: PLC0415 - only for a vault.toml that was changed

    try:
        return tomllib.loads(data.decode())
    except (ValueError, RecursionError) as error:
        raise NOT_A_VAULT.error(file=file, expected="TOML", found=disk.shown(str(error))) from error


def _parsed(data: bytes, file: str) -> str:
    table = _table(data, file)
    version, identity = table.get("format"), table.get("vault")
    if type(version) is int and version > FORMAT:
        raise NEWER.error(file=file, expected=f"format {FORMAT}", found=f"format {version}")
    if type(version) is not int or version != FORMAT:
        expected = f"format = {FORMAT}"
        raise NOT_A_VAULT.error(file=file, expected=expected, found=f"format = {version!r}"[:80])
    if not isinstance(identity, str) or not _IDENTITY.fullmatch(identity):
        expected = "vault = 32 hexadecimal digits"
        raise NOT_A_VAULT.error(file=file, expected=expected, found=f"vault = {identity!r}"[:80])
    return identity


def doubt_of(data: bytes, identity: str, first: Iterable[Stored]) -> str | None:
    """Return the code why none of the first records proves this vault.toml; None if one does."""
    bodies = [s.record.body for s in first if s.record.body.get("vault") == identity]
    if not bodies:
        return FIRST_RECORD_MISSING
    proven = any(body.get("vault_toml") == sha256(data) for body in bodies)
    return None if proven else TOML_CHANGED


def damage_of(root: Path, data: bytes | None) -> ParambakError | None:
    """Return the refusal of a damaged or missing vault.toml; None if the vault may be newer.

    It is damaged if a first record holds the digest of another one, none holds its own,
    and no record is of a later format: a newer version would have written one of its own.
    It is missing if the folder holds files with names of records.
    """
    path = str(root / FILE)
    if data is None:
        if not any(_record_files(root)):
            return None
        right = _identity_before(root, b"")
        expected = f'format = {FORMAT}, vault = "{right}"' if right else FILE
        return TOML_LOST.error(file=path, expected=expected, found="no such file, or an empty one")
    right = _identity_before(root, data)
    if right is None:
        return None
    found = disk.shown(data.decode("utf-8", "replace"))
    expected = f'format = {FORMAT}, vault = "{right}"'
    return TOML_DAMAGED.error(file=path, expected=expected, found=found)


def _identity_before(root: Path, data: bytes) -> str | None:
    """Return the identity that a first record proves, if none proves this vault.toml."""
    right = None
    try:
        for record in _sound_records(root):
            if record.kind == FIRST and record.vessel is None:
                if record.body.get("vault_toml") == sha256(data):
                    return None
                identity = str(record.body.get("vault"))
                if sha256(encode(identity)) == record.body.get("vault_toml"):
                    right = identity
    except (OSError, VaultRefused):
        return None
    return right


def _record_files(root: Path) -> Iterator[Path]:
    """Yield the files of a folder that have names of records."""
    for folder in disk.stamps_in(root / records.FOLDER):
        for name in disk.names_in(root / records.FOLDER / folder):
            if records.named_by(name):
                yield root / records.FOLDER / folder / name


def _sound_records(root: Path) -> Iterator[Record]:
    """Yield the sound records; raises `vault-newer` at one of a later format."""
    for path in _record_files(root):
        data = disk.read_file(path, records.MAX_BYTES)
        try:
            yield records.decode(data, path.name.removesuffix(records.SUFFIX))
        except VaultRefused:
            raise
        except ParambakError:
            continue  # damaged: it proves nothing
