"""Files that a user names: read whole and bounded; and the files of the installation."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import NamedTuple

from parambak.errors import CallRefused, DumpRefused, Fault, NotFound, ParambakError

FILE_ABSENT = Fault(
    "file-absent", NotFound, "no such file", "Check the name. Put it in quotes if it holds spaces."
)
FILE_KIND = Fault(
    "file-kind",
    DumpRefused,
    "that is not a file that can be read",
    "Name the reader's file itself, not a folder or a device.",
)
FILE_SIZE = Fault(
    "file-size", DumpRefused, "the file is too large", "Check that it is the right file."
)
FILE_CHANGED = Fault(
    "file-changed",
    DumpRefused,
    "the file changed while it was read",
    "Wait until the reader has written the whole file, then try again.",
)
SYSTEM = Fault(
    "system",
    ParambakError,
    "the operating system refused",
    "Check that the disk or stick is connected, has free space, and is not write-protected.",
)
LEAVES_VAULT = Fault(
    "export-into-vault",
    CallRefused,
    "a file for a reader may not be written inside the vault",
    "Name a file outside the vault's folder.",
)
SHIPPED = Fault(
    "shipped-absent", NotFound, "a file of the installation is missing", "Install parambak again."
)


Folder = Path
"""A folder on disk, for rooms that pass it on and do not touch files."""


class GivenFile(NamedTuple):
    """A file as it was read: its bytes, and what distinguishes it from another.

    `modified` is in nanoseconds since 1970; `inode` is empty if the system gives none;
    `path` is the whole path, links followed.
    """

    name: str
    data: bytes
    modified: int
    inode: str
    path: str


def read_given(path: str, limit: int) -> GivenFile:
    """Return a file of at most `limit` bytes; refuse what is absent, no file or changing."""
    try:
        before = os.stat(path)  # noqa: PTH116 - links are followed
    except FileNotFoundError as error:
        raise FILE_ABSENT.error(file=path, expected="a file", found="nothing") from error
    except (OSError, ValueError) as error:
        raise FILE_KIND.error(file=path, expected="a file", found=str(error)) from error
    if not stat.S_ISREG(before.st_mode):
        raise FILE_KIND.error(file=path, expected="a file", found=_kind(before.st_mode))
    if before.st_size > limit:
        raise FILE_SIZE.error(
            file=path, expected=f"at most {limit} bytes", found=f"{before.st_size} bytes"
        )
    try:
        with Path(path).open("rb") as file:
            data = file.read(limit + 1)
            after = os.fstat(file.fileno())
    except OSError as error:
        raise SYSTEM.error(
            file=path, expected="a file that can be read", found=error.strerror or str(error)
        ) from error
    if len(data) != before.st_size or _state(before) != _state(after):
        raise FILE_CHANGED.error(
            file=path, expected=f"{before.st_size} bytes, unchanged", found=f"{len(data)} bytes"
        )
    inode = f"{after.st_dev}:{after.st_ino}" if after.st_ino else ""
    return GivenFile(Path(path).name, data, after.st_mtime_ns, inode, str(Path(path).resolve()))


def _state(of: os.stat_result) -> tuple[int, int]:
    return of.st_size, of.st_mtime_ns


def _kind(mode: int) -> str:
    if stat.S_ISDIR(mode):
        return "a folder"
    return "a pipe" if stat.S_ISFIFO(mode) else "a device"


def read_beside(path: str, name: str, limit: int) -> bytes:
    """Return the file of that name in the folder of `path`; refuse one that leaves it."""
    folder = Path(path).resolve().parent
    file = (folder / name).resolve()
    if not file.is_relative_to(folder):
        raise FILE_ABSENT.error(
            file=name, expected="a file in the layout's folder", found="a path that leaves it"
        )
    return read_given(str(file), limit).data


def refuse_within(path: str, vault: Path) -> None:
    """Raise if a file that is to leave the vault would be inside its folder."""
    if Path(path).resolve().is_relative_to(vault.resolve()):
        raise LEAVES_VAULT.error(file=path, expected=f"outside {vault}", found=path)


def names_a_file(text: str) -> bool:
    """Return whether a text that may name a copy names a file: files go first."""
    dotted = text.startswith(("./", "../", ".\\", "..\\", "/", "~"))
    return dotted or Path(text).exists() or ("@" not in text and "/" not in text)


def shipped(name: str) -> bytes:
    """Return a file of `shared/`, from inside the wheel or from the checkout."""
    package = Path(__file__).parents[2]
    for folder in (package / "shared", package.parent / "shared"):
        if (folder / name).is_file():
            return (folder / name).read_bytes()
    raise SHIPPED.error(expected=f"shared/{name} in the installation", found="nothing")


def folder_around(folder: Path) -> Path | None:
    """Return the folder that a folder lies in, if that is missing; None if it is there."""
    around = folder.absolute().parent
    return None if around.is_dir() else around


def make_folder(path: str) -> None:
    """Make the folder that a user named, if it is not there; raise if a file is."""
    folder = Path(path)
    if folder.exists() and not folder.is_dir():
        raise FILE_KIND.error(file=path, expected="a folder", found="a file")
    folder.mkdir(parents=True, exist_ok=True)


def write_given(path: str, data: bytes, *, replace: bool) -> None:
    """Write a file under the name that a user gave, whole or not at all."""
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - for writing only

    write_export(Path(path), data, replace=replace)


def remove_given(path: str) -> None:
    """Remove a file that was written under that name and must not lie ready."""
    from parambak.vault.files.disk import remove  # noqa: PLC0415 - for writing only

    remove(Path(path))
