"""Every touch of the disk: reading, atomic writing, folders.

Nothing else in parambak opens a file for writing but the lock (lock.py) and SQLite (index_db.py).
After a write, a file is complete under its name, or is not there at all: a temporary file in the
same folder, write, flush, read back, rename, flush of the folder. formats/vault.md gives the
reasons.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, NamedTuple, TypeVar, cast

from parambak.memory.digests import sha256
from parambak.memory.printable import printable
from parambak.vault.faults import (
    DISK_FULL,
    EXPORT_EXISTS,
    EXPORT_UNFIT,
    UNWRITABLE,
    WRITE_FAILED,
)
from parambak.vault.files.file_system import forgets_when_renamed
from parambak.vault.files.streams import Stream

if sys.platform == "darwin":
    import fcntl

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path
    from typing import BinaryIO, Self

    from parambak.errors import ParambakError

    T = TypeVar("T")

TEMPORARY = ".tmp"
# Seconds between tries if a virus scanner or a sync program holds a file (Windows).
BACK_OFF: tuple[float, ...] = (0.02, 0.05, 0.1, 0.2, 0.4, 0.8) if sys.platform == "win32" else ()
SEALED = 0o444
OPEN = 0o666  # the user's umask takes its share
_BINARY = getattr(os, "O_BINARY", 0)
_READ = os.O_RDONLY | _BINARY | getattr(os, "O_NONBLOCK", 0)  # a pipe must not hang us
_PIECE = 1 << 16  # bytes read at once, of a file that is only hashed
FULL = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC), errno.EFBIG}
REFUSED = {errno.EACCES, errno.EPERM, errno.EROFS}
_NO_FOLDER_FLUSH = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP}


class Stamp(NamedTuple):
    """What changes when a name comes into or leaves a folder."""

    modified: int  # nanoseconds since 1970, as the file system gives it
    inode: int


class UnfitFileError(OSError):
    """What has the name is no regular file, or is larger than it can be."""


class UnprovenError(OSError):
    """A file was written, but its folder's flush failed: the file was removed again."""


def shown(text: str) -> str:
    """Return foreign text (a file's name, another process's words) safe to print."""
    return printable(text[:200])


def words(error: OSError) -> str:
    """Return the system's own words for `error`, for the `found` part of a refusal."""
    name = errno.errorcode.get(error.errno or 0, "")
    text = error.strerror or str(error)
    return f"{text} ({name})" if name else text


def write_refusal(error: OSError, path: Path) -> ParambakError:
    """Return the refusal that a failed write becomes."""
    if error.errno in FULL:
        fault = DISK_FULL
    elif error.errno in REFUSED:
        fault = UNWRITABLE
    else:
        fault = WRITE_FAILED
    return fault.error(file=str(path), found=words(error))


# --- reading ---------------------------------------------------------------


def read_file(path: Path | str, limit: int) -> bytes:
    """Return the bytes of a regular file of at most `limit` bytes; else OSError."""
    descriptor = _patiently(lambda: os.open(path, _READ))
    try:
        status = os.fstat(descriptor)
        if not stat.S_ISREG(status.st_mode):
            raise UnfitFileError(errno.EINVAL, "Not a regular file")
        if status.st_size > limit:
            raise UnfitFileError(errno.EFBIG, f"{status.st_size} bytes, more than {limit}")
        return _read_all(descriptor, status.st_size, limit)
    finally:
        os.close(descriptor)


@contextmanager
def reading(path: Path | str) -> Iterator[BinaryIO]:
    """Give a stream to read a large regular file; else OSError."""
    descriptor = _patiently(lambda: os.open(path, _READ))
    with cast("BinaryIO", Stream(descriptor)) as stream:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise UnfitFileError(errno.EINVAL, "Not a regular file")
        yield stream


def size_of(path: Path | str) -> int | None:
    """Return a file's length; None if there is none."""
    try:
        return os.path.getsize(path)  # noqa: PTH202 - os throughout
    except OSError:
        return None


def holds(path: Path | str, digest: str, limit: int) -> bool | None:
    """Return whether a file's SHA-256 is `digest`; None if it is not there."""
    try:
        return sha256(read_file(path, limit)) == digest
    except FileNotFoundError:
        return None
    except OSError:
        return False


def _read_all(descriptor: int, size: int, limit: int) -> bytes:
    data = os.read(descriptor, size + 1)
    if len(data) == size:
        return data
    pieces = [data]
    total = len(data)
    while piece := os.read(descriptor, 1 << 20):
        pieces.append(piece)
        total += len(piece)
        if total > limit:
            raise UnfitFileError(errno.EFBIG, f"more than {limit} bytes")
    return b"".join(pieces)


def read_quickly(path: str, limit: int, folder: int | None = None) -> bytes:
    """Return the bytes of a file, as fast as the system gives them; only the first over `limit`.

    For a caller that expects bytes of a certain digest: if they are others, or OSError is
    raised, `read_file` gives the reason why. `folder` is an open folder that `path` is in.
    """
    descriptor = os.open(path, _READ, dir_fd=folder)
    try:
        data = os.read(descriptor, _PIECE)
        if len(data) < _PIECE:
            return data
        pieces = [data]
        while data and limit > 0:
            data = os.read(descriptor, _PIECE)
            pieces.append(data)
            limit -= _PIECE
        return b"".join(pieces)
    finally:
        os.close(descriptor)


class QuickFolder:
    """A folder whose many files are read quickly one after the other.

    It is held open, if the system can open a file within an open folder, so that the way
    to it is not looked up for each file.
    """

    def __init__(self, path: str) -> None:
        self._folder: int | None = None
        self._before = f"{path}/"
        if os.open in os.supports_dir_fd:
            with suppress(OSError):  # then each file is tried, and its own error given
                self._folder = os.open(path, os.O_RDONLY)
                self._before = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._folder is not None:
            os.close(self._folder)

    def read(self, name: str, limit: int) -> bytes:
        """Return the bytes of the file of that name, as `read_quickly` does."""
        return read_quickly(self._before + name, limit, self._folder)


def is_file(path: Path | str) -> bool:
    """Return whether a file is there, without reading it."""
    return os.path.isfile(path)  # noqa: PTH113 - ten times a Path's speed, asked 100,000 times


def names_in(folder: Path | str) -> list[str]:
    """Return the names in a folder, in order; none if it is not there."""
    try:
        return sorted(os.listdir(folder))  # noqa: PTH208 - names alone are needed, and fast
    except FileNotFoundError:
        return []


def is_bare(folder: Path) -> bool:
    """Return whether a folder holds no more than a failed write leaves: empty folders."""
    try:
        within = [folder / n for n in names_in(folder) if not n.endswith(TEMPORARY)]
        return all(n.endswith(TEMPORARY) for inner in within for n in names_in(inner))
    except OSError:  # a file has the folder's name
        return False


def folders_in(folder: Path | str) -> list[str]:
    """Return the names in a folder that are two hexadecimal digits, in order."""
    return [n for n in names_in(folder) if len(n) == 2 and not n.strip("0123456789abcdef")]


def stamps_in(folder: Path | str) -> dict[str, Stamp]:
    """Return the stamp of each folder two hexadecimal digits long within `folder`."""
    stamps = {name: stamp_of(f"{folder}/{name}") for name in folders_in(folder)}
    return {name: stamp for name, stamp in stamps.items() if stamp is not None}


def stamp_of(folder: Path | str) -> Stamp | None:
    """Return a folder's stamp; None if there is no such folder."""
    try:
        # Not scandir's copy: on Windows that one is late and has no inode.
        status = os.stat(folder)  # noqa: PTH116 - os throughout
    except (FileNotFoundError, NotADirectoryError):
        return None
    if not stat.S_ISDIR(status.st_mode):
        return None
    return Stamp(status.st_mtime_ns, status.st_ino)


# --- writing ---------------------------------------------------------------


def write_sealed(path: Path, data: bytes, *, repair: bool = False) -> None:
    """Write a file of the vault: whole, flushed and read-only, or not at all.

    Makes the folder if it is not there, and clears temporary files out of it, so the
    caller must hold the lock. `repair` replaces what has that name. Raises
    ParambakError; then the folder is as it was, if the system allows that.
    """
    made: list[Path] = []
    try:
        make_folder(path.parent, made)
        sweep(path.parent)
        if repair:
            with suppress(OSError):
                os.chmod(path, OPEN)  # noqa: PTH101 - Windows replaces no read-only file
        _write(path, data, mode=SEALED, keep=repair)
    except OSError as error:
        unmake(made)
        raise write_refusal(error, path) from error
    except BaseException:
        unmake(made)
        raise


def write_plain(path: Path, data: bytes) -> None:
    """Replace a small file outside the vault, atomically and unflushed; raises OSError."""
    make_folder(path.parent, [])
    temporary = path.with_name(os.urandom(8).hex() + TEMPORARY)
    try:
        _write_temporary(temporary, data, OPEN, flushed=False)
        _patiently(lambda: os.replace(temporary, path))  # noqa: PTH105 - os throughout
    except BaseException:
        remove(temporary)
        raise


def write_export(path: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a file that goes outside the vault: whole and read back, or not at all.

    A name that exists is refused unless `replace`; a folder, device or pipe always.
    """
    _refuse_export(path, replace=replace)
    try:
        _write(path, data, mode=OPEN, keep=replace, only_new=not replace)
    except FileExistsError as error:
        raise EXPORT_EXISTS.error(file=str(path)) from error
    except OSError as error:
        raise _export_refusal(error, path) from error


def _refuse_export(path: Path, *, replace: bool) -> None:
    if not path.parent.is_dir():
        raise EXPORT_UNFIT.error(file=str(path), expected="a folder", found=str(path.parent))
    if os.path.lexists(path):
        if not path.is_file():
            raise EXPORT_UNFIT.error(
                file=str(path), expected="a file's name", found="not a plain file"
            )
        if not replace:
            raise EXPORT_EXISTS.error(file=str(path))


def _export_refusal(error: OSError, path: Path) -> ParambakError:
    if error.errno in FULL | REFUSED:
        return write_refusal(error, path)
    expected = "a name and a folder that can be written"
    return EXPORT_UNFIT.error(file=str(path), expected=expected, found=words(error))


@contextmanager
def exporting(path: Path, *, replace: bool = False) -> Iterator[BinaryIO]:
    """Give a stream to write a large file outside the vault, and to read it back.

    The file gets its name, flushed, only if the block ends well. The same
    is refused as by `write_export`.
    """
    _refuse_export(path, replace=replace)
    temporary = path.with_name(os.urandom(8).hex() + TEMPORARY)
    unproven = False
    try:
        flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | _BINARY
        descriptor = _patiently(lambda: os.open(temporary, flags, OPEN))
        with cast("BinaryIO", Stream(descriptor)) as stream:
            yield stream
            _flush(descriptor)
        if replace:
            _patiently(lambda: os.replace(temporary, path))  # noqa: PTH105 - os throughout
        else:
            _name_new(temporary, path)
            unproven = True
        settle_renamed(path)
        unproven = False
    except FileExistsError as error:
        raise EXPORT_EXISTS.error(file=str(path)) from error
    except OSError as error:
        raise _export_refusal(error, path) from error
    finally:
        remove(temporary)  # after a renaming, it does not exist
        if unproven:
            remove(path)


def make_folder(path: Path, made: list[Path]) -> None:
    """Make a folder and those above it; note the new ones in `made`; flush each's parent."""
    if os.path.isdir(path):  # noqa: PTH112 - os throughout
        if not names_in(path):  # whoever made it may have been stopped before the flush
            with suppress(PermissionError):  # then it was not made from here
                flush_folder(path.parent)
        return
    if path.parent != path:
        make_folder(path.parent, made)
    with suppress(FileExistsError):
        os.mkdir(path)  # noqa: PTH102 - os throughout
        made.append(path)
    if not path.is_dir():
        raise OSError(errno.ENOTDIR, f"{path} is not a folder")
    flush_folder(path.parent)


def unmake(made: list[Path]) -> None:
    """Remove folders that were made for a write that failed, the last first."""
    for folder in reversed(made):
        with suppress(OSError):
            folder.rmdir()


def sweep(folder: Path) -> None:
    """Remove temporary files that a broken-off write left; only under the lock."""
    for name in names_in(folder):
        if name.endswith(TEMPORARY):
            remove(folder / name)


def remove(path: Path) -> bool:
    """Remove a file, read-only or not; False if it was not there or would not go."""
    try:
        os.unlink(path)  # noqa: PTH108 - os throughout
    except PermissionError:
        with suppress(OSError):
            os.chmod(path, OPEN)  # noqa: PTH101 - Windows removes no read-only file
            _patiently(lambda: os.unlink(path))  # noqa: PTH108 - os throughout
            return True
        return False
    except OSError:
        return False
    return True


def flush_folder(folder: Path) -> None:
    """Flush a folder's names to the disk, if the system can."""
    if sys.platform == "win32":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NO_FOLDER_FLUSH:
            raise
    finally:
        os.close(descriptor)


def flush_folders(root: Path, folders: Iterable[str]) -> None:
    """Flush these folders of a vault, those within them, and the vault's own; raises OSError."""
    for folder in (root / name for name in folders):
        for name in stamps_in(folder):
            flush_folder(folder / name)
        if folder.is_dir():
            flush_folder(folder)
    flush_folder(root)


def settle_renamed(path: Path) -> None:
    """Flush the name that a file was just given, and on Linux's FAT the file once more."""
    if forgets_when_renamed(path.parent):
        flush_standing(path)
    else:
        flush_folder(path.parent)


def flush_standing(path: Path) -> None:
    """Flush a file that is already in place: its writer may not have flushed it."""
    if sys.platform != "win32":  # Windows flushes no file that is open for reading only
        descriptor = os.open(path, _READ)
        try:
            _flush(descriptor)
        finally:
            os.close(descriptor)
    flush_folder(path.parent)


def _write(path: Path, data: bytes, *, mode: int, keep: bool, only_new: bool = False) -> None:
    temporary = path.with_name(os.urandom(8).hex() + TEMPORARY)
    placed = False
    try:
        _write_temporary(temporary, data, mode, flushed=True)
        if only_new:
            _name_new(temporary, path)
        else:
            _patiently(lambda: os.replace(temporary, path))  # noqa: PTH105 - os throughout
        placed = True
        if only_new:
            remove(temporary)  # it still exists if it was linked
        settle_renamed(path)
    except BaseException as error:
        remove(temporary)
        if placed and not keep:
            remove(path)  # not proven to be on the disk, so not acknowledged
        if placed and isinstance(error, OSError):
            raise UnprovenError(error.errno, error.strerror) from error
        raise


def _name_new(temporary: Path, path: Path) -> None:
    try:
        os.link(temporary, path)  # refuses a name that exists, in one step
    except FileExistsError:
        raise
    except OSError:  # no links here (FAT, shares): the window between the two is small
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, "File exists") from None
        _patiently(lambda: os.rename(temporary, path))  # noqa: PTH104 - os throughout


def _write_temporary(temporary: Path, data: bytes, mode: int, *, flushed: bool) -> None:
    flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | _BINARY
    descriptor = _patiently(lambda: os.open(temporary, flags, OPEN))
    try:
        remaining = memoryview(data)
        while remaining:
            written = os.write(descriptor, remaining)
            if written <= 0:
                raise OSError(errno.EIO, "The system wrote nothing")
            remaining = remaining[written:]
        if mode == SEALED:
            with suppress(OSError):  # FAT and some shares have no such bit
                os.chmod(temporary, mode)  # noqa: PTH101 - os throughout
        if flushed:
            _flush(descriptor)
        os.lseek(descriptor, 0, os.SEEK_SET)
        back = _read_all(descriptor, len(data), len(data))
        if back != data:
            raise OSError(errno.EIO, "The bytes read back are not the bytes written")
    finally:
        os.close(descriptor)


def _flush(descriptor: int) -> None:
    if sys.platform == "darwin":
        try:
            # fsync leaves the bytes in the drive's own cache there.
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
        except OSError:
            os.fsync(descriptor)
    else:
        os.fsync(descriptor)


def _patiently(act: Callable[[], T]) -> T:
    for wait in BACK_OFF:
        try:
            return act()
        except PermissionError:
            time.sleep(wait)
    return act()
