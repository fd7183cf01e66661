"""A store, where a backup location's files are: what each can do, and a folder.

What the stores that are no folder have in common is here too; they are in store_fsspec.py and
store_sftp.py. A store keeps small files under names such as `objects/ab/abcd…`. Every failure
is an OSError.
formats/backup-locations.md, "Sending", gives the rules for each.
"""

from __future__ import annotations

import errno
import os
from abc import ABC, abstractmethod
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, Protocol, TypeVar

from parambak.errors import ParambakError
from parambak.memory.digests import sha256
from parambak.vault import faults
from parambak.vault.files import disk
from parambak.vault.files.lock import locked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager

    T = TypeVar("T")

NO_FILE = -1  # the size of what is no file
LOCK = "lock"
KEYS = ("id_ed25519", "id_ecdsa", "id_rsa")  # the usual names of private keys


class Store(Protocol):
    """What every store can do; all names have forward slashes, "" is the top folder."""

    @property
    def shown(self) -> str:
        """Return where it is, for a person."""

    def names(self, folder: str) -> dict[str, int]:
        """Return the names in a folder and their sizes; none if the folder is not there."""

    def read(self, file: str, limit: int) -> bytes:
        """Return a file's bytes; FileNotFoundError, or UnfitFileError if over `limit`."""

    def write(self, file: str, data: bytes) -> None:
        """Write a file whole or not at all, its folders too; read back and hashed."""

    def rename(self, file: str, to: str) -> None:
        """Give a file another name, which nothing has; makes the folder of `to`."""

    def holding(self, since: str) -> AbstractContextManager[None]:
        """Keep other writers out while the block runs, if the store can."""

    def close(self) -> None:
        """End the connection."""


class SshTerms(NamedTuple):
    """The files with the hosts to trust and our own keys; missing ones are passed over."""

    known_hosts: tuple[Path, ...] = ()
    keys: tuple[Path, ...] = ()


def ssh_terms(own: Path) -> SshTerms:
    """Return the files of the user's own folder for SSH, and the system's known hosts."""
    hosts = (own / "known_hosts", Path("/etc/ssh/ssh_known_hosts"))
    return SshTerms(hosts, tuple(own / name for name in KEYS))


class FolderStore:
    """A folder, on a disk, stick or share."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._folder_id = self._identify()

    @property
    def shown(self) -> str:
        """Return the folder's path."""
        return str(self.root)

    def names(self, folder: str) -> dict[str, int]:
        """Return the names in a folder and their sizes; none if the folder is not there."""
        if self._folder_id is not None:
            self._must_be_same()
        try:
            with os.scandir(self.root / folder) as entries:
                return {e.name: e.stat().st_size if e.is_file() else NO_FILE for e in entries}
        except FileNotFoundError:
            return {}

    def read(self, file: str, limit: int) -> bytes:
        """Return a file's bytes."""
        return disk.read_file(self.root / file, limit)

    def write(self, file: str, data: bytes) -> None:
        """Write a file whole or not at all."""
        self._must_be_same()
        try:
            disk.write_sealed(self.root / file, data)
        except ParambakError as refusal:
            if isinstance(refusal.__cause__, OSError):
                raise refusal.__cause__ from refusal
            raise
        if self._folder_id is None:
            self._folder_id = self._identify()

    def rename(self, file: str, to: str) -> None:
        """Give a file another name, which nothing has."""
        self._must_be_same()
        disk.make_folder((self.root / to).parent, [])
        os.rename(self.root / file, self.root / to)  # noqa: PTH104 - os throughout
        disk.settle_renamed(self.root / to)
        disk.flush_folder((self.root / file).parent)

    @contextmanager
    def holding(self, since: str) -> Iterator[None]:
        """Hold the folder's lock; a share without locks does without."""
        guard: AbstractContextManager[object] = locked(self.root / LOCK, since)
        try:
            guard.__enter__()
        except ParambakError as refusal:
            if refusal.code == faults.NO_LOCK.code:
                guard = nullcontext()
            elif isinstance(refusal.__cause__, OSError):
                raise refusal.__cause__ from refusal
            else:
                raise
        try:
            yield
        finally:
            with suppress(OSError):  # a stick that was pulled out
                guard.__exit__(None, None, None)

    def close(self) -> None:
        """Do nothing: a folder stays."""

    def _identify(self) -> tuple[int, int] | None:
        try:
            status = os.stat(self.root)  # noqa: PTH116 - os throughout
        except (FileNotFoundError, NotADirectoryError):
            return None
        return (status.st_dev, status.st_ino)

    def _must_be_same(self) -> None:
        """Fail if the stick was pulled out: its mount point must not be filled instead."""
        if self._folder_id is None and not self.root.parent.is_dir():
            raise FileNotFoundError(errno.ENOENT, "The parent folder does not exist")
        if self._folder_id is not None and self._identify() != self._folder_id:
            raise OSError(errno.ENODEV, "The folder is gone, or another folder is at its path")


class FarStore(ABC):
    """A store that is no folder: a file is written next to, read back, then renamed."""

    def __init__(self, shown: str, root: str, writer: str) -> None:
        self._shown = shown
        self._root = root.rstrip("/")
        # Eight digits that mark this writer's temporary files, and not the writer.
        self._mark = sha256(writer.encode())[:8]
        self._ready: set[str] = set()

    @property
    def shown(self) -> str:
        """Return the address."""
        return self._shown

    def names(self, folder: str) -> dict[str, int]:
        """Return the names in a folder and their sizes; none if the folder is not there."""
        try:
            return as_os_error(lambda: self._names(self._path(folder)))
        except FileNotFoundError:
            return {}

    def read(self, file: str, limit: int) -> bytes:
        """Return a file's bytes."""
        data = as_os_error(lambda: self._read(self._path(file), limit + 1))
        if len(data) > limit:
            raise disk.UnfitFileError(errno.EFBIG, f"more than {limit} bytes")
        return data

    def write(self, file: str, data: bytes) -> None:
        """Write a temporary file, read it back, and give it its name."""
        folder, _, _ = file.rpartition("/")
        self._make_ready(folder)
        name = f"{self._mark}{os.urandom(4).hex()}{disk.TEMPORARY}"
        temporary = f"{folder}/{name}" if folder else name
        try:
            as_os_error(lambda: self._write(self._path(temporary), data))
            self._must_hold(temporary, data)
            as_os_error(lambda: self._move(self._path(temporary), self._path(file)))
        except BaseException:
            self._remove_quietly(temporary)
            raise
        if not self._renames:
            self._must_hold(file, data)

    def rename(self, file: str, to: str) -> None:
        """Give a file another name, which nothing has."""
        self._make_ready(to.rpartition("/")[0])
        as_os_error(lambda: self._move(self._path(file), self._path(to)))

    def holding(self, since: str) -> AbstractContextManager[None]:
        """Keep nobody out: such stores have no locks, and whole files need none."""
        del since
        return nullcontext()

    def close(self) -> None:  # noqa: B027 - a store without a connection has nothing to close
        """End the connection."""

    def _path(self, file: str) -> str:
        return f"{self._root}/{file}" if file else self._root or "/"

    def _must_hold(self, file: str, data: bytes) -> None:
        back = self.read(file, len(data))
        if sha256(back) != sha256(data):
            raise OSError(errno.EIO, "The bytes read back are not the bytes written")

    def _make_ready(self, folder: str) -> None:
        """Make a folder, and clear it of what this writer's broken-off writes left."""
        if folder in self._ready:
            return
        as_os_error(lambda: self._make_folder(self._path(folder)))
        for name in self.names(folder):
            if name.startswith(self._mark) and name.endswith(disk.TEMPORARY):
                self._remove_quietly(f"{folder}/{name}" if folder else name)
        self._ready.add(folder)

    def _remove_quietly(self, file: str) -> None:
        with suppress(OSError):
            as_os_error(lambda: self._remove(self._path(file)))

    _renames = False

    @abstractmethod
    def _names(self, path: str) -> dict[str, int]: ...

    @abstractmethod
    def _read(self, path: str, most: int) -> bytes: ...

    @abstractmethod
    def _write(self, path: str, data: bytes) -> None: ...

    @abstractmethod
    def _move(self, path: str, to: str) -> None: ...

    @abstractmethod
    def _remove(self, path: str) -> None: ...

    @abstractmethod
    def _make_folder(self, path: str) -> None: ...


def as_os_error(act: Callable[[], T]) -> T:
    """Do it; any error of a foreign library becomes an OSError."""
    try:
        return act()
    except OSError:
        raise
    except Exception as error:
        text = disk.shown(f"{type(error).__name__}: {error}")
        raise OSError(errno.EIO, text) from error
