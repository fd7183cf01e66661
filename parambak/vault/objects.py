"""Objects: bytes named by the SHA-256 of their content, as objects/ab/abcd…."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.memory.digests import sha256
from parambak.vault.faults import DAMAGED_OBJECT, MISSING_OBJECT, TOO_LARGE, UNREADABLE
from parambak.vault.files import disk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

FOLDER = "objects"
MAX_BYTES = 64 << 20  # the largest dump that is taken in
DIGEST = re.compile(r"[0-9a-f]{64}")


def file_of(digest: str) -> str:
    """Return an object's file within the vault, with forward slashes."""
    return f"{FOLDER}/{digest[:2]}/{digest}"


def read(root: Path, digest: str) -> bytes:
    """Return an object's bytes, hashed at this moment; VaultDamaged if wrong or missing."""
    path = root / file_of(digest)
    if not DIGEST.fullmatch(digest):
        raise MISSING_OBJECT.error(expected="64 hexadecimal digits", found=repr(digest[:80]))
    try:
        data = disk.read_file(path, MAX_BYTES)
    except FileNotFoundError:
        raise MISSING_OBJECT.error(file=str(path), expected=digest) from None
    except disk.UnfitFileError as error:
        raise DAMAGED_OBJECT.error(
            file=str(path), expected="a file", found=disk.words(error)
        ) from error
    except OSError as error:
        raise UNREADABLE.error(file=str(path), found=disk.words(error)) from error
    actual = sha256(data)
    if actual != digest:
        raise DAMAGED_OBJECT.error(file=str(path), expected=f"SHA-256 {digest}", found=actual)
    return data


def has(root: Path, digest: str) -> bool:
    """Return whether an object's file is there; its bytes are not looked at."""
    return DIGEST.fullmatch(digest) is not None and disk.is_file(root / file_of(digest))


def put(
    root: Path, data: bytes, flush: Callable[[Path], None] = disk.flush_standing
) -> tuple[str, bool]:
    """Write an object; return its digest and whether it is new here.

    One that is there is hashed, repaired if its bytes are wrong, and flushed by `flush`.
    The caller holds the lock.
    """
    if len(data) > MAX_BYTES:
        raise TOO_LARGE.error(expected=f"at most {MAX_BYTES} bytes", found=f"{len(data)} bytes")
    digest = sha256(data)
    path = root / file_of(digest)
    standing = stands(root, digest)
    if standing is None:
        disk.write_sealed(path, data)
    elif not standing:
        disk.write_sealed(path, data, repair=True)
    else:
        try:
            flush(path)
        except OSError as error:
            raise disk.write_refusal(error, path) from error
    return digest, standing is None


def stands(root: Path, digest: str) -> bool | None:
    """Return whether an object's file has the right bytes; None if it is not there."""
    return disk.holds(root / file_of(digest), digest, MAX_BYTES)
