"""vault.toml: the format's version and the vault's identity, written once."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.vault.faults import NEWER, NOT_A_VAULT, UNREADABLE
from parambak.vault.files import disk

if TYPE_CHECKING:
    from pathlib import Path

FILE = "vault.toml"
FORMAT = 1
MAX_BYTES = 4096
_TEXT = (
    "# A parambak vault. Written once, never edited: the vault's first record holds its digest.\n"
    "format = 1\n"
    'vault = "{}"\n'
)
_WRITTEN = re.compile(re.escape(_TEXT).replace(r"\{\}", "([0-9a-f]{32})").encode())
_IDENTITY = re.compile(r"[0-9a-f]{32}")


def encode(identity: str) -> bytes:
    """Return the bytes of vault.toml for a vault of that identity."""
    return _TEXT.format(identity).encode()


def read(root: Path) -> bytes | None:
    """Return the bytes of a folder's vault.toml; None where it or the folder is not there.

    An empty one is none: power that failed while it was made may leave that on FAT.
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
    import tomllib  # noqa: PLC0415 - only for a vault.toml that is not as it was written

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
