"""Any store that an fsspec URL reaches: written beside, read back, then renamed or copied."""

from __future__ import annotations

import errno
import os
from abc import ABC, abstractmethod
from contextlib import nullcontext, suppress
from typing import TYPE_CHECKING, Any, TypeVar

from parambak.memory.digests import sha256
from parambak.vault.files import disk
from parambak.vault.locations.faults import ADDRESS, LIBRARY, UNREACHABLE
from parambak.vault.locations.stores import NO_FILE

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager

    from parambak.vault.locations.address import Address

    T = TypeVar("T")


class FarStore(ABC):
    """What the stores that are no folder have in common."""

    def __init__(self, shown: str, root: str, writer: str) -> None:
        self._shown = shown
        self._root = root.rstrip("/")
        # Eight digits that tell this writer's temporary files, and not the writer.
        self._mark = sha256(writer.encode())[:8]
        self._ready: set[str] = set()

    @property
    def shown(self) -> str:
        """Return the address."""
        return self._shown

    def names(self, folder: str) -> dict[str, int]:
        """Return the names in a folder and their sizes; none where the folder is not there."""
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

    def close(self) -> None:  # noqa: B027 - one without a connection has nothing to end
        """End the connection."""

    def _path(self, file: str) -> str:
        return f"{self._root}/{file}" if file else self._root or "/"

    def _must_hold(self, file: str, data: bytes) -> None:
        back = self.read(file, len(data))
        if sha256(back) != sha256(data):
            raise OSError(errno.EIO, "What was read back is not what was written")

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


class FsspecStore(FarStore):
    """A store that fsspec knows; `system` is one of its file systems."""

    def __init__(self, shown: str, system: Any, root: str, writer: str) -> None:
        super().__init__(shown, root, writer)
        self._system = system

    def _names(self, path: str) -> dict[str, int]:
        self._system.invalidate_cache()
        listed = self._system.ls(path, detail=True)
        inside = [e for e in listed if e["name"].rstrip("/") != path.rstrip("/")]
        return {
            e["name"].rstrip("/").rpartition("/")[2]: _size(e["size"])
            if e["type"] == "file"
            else NO_FILE
            for e in inside
        }

    def _read(self, path: str, most: int) -> bytes:
        with self._system.open(path, "rb") as file:
            return bytes(file.read(most))

    def _write(self, path: str, data: bytes) -> None:
        with self._system.open(path, "wb") as file:
            file.write(data)

    def _move(self, path: str, to: str) -> None:
        self._system.mv(path, to)

    def _remove(self, path: str) -> None:
        self._system.rm_file(path)

    def _make_folder(self, path: str) -> None:
        self._system.makedirs(path, exist_ok=True)


def _size(size: int | None) -> int:
    return NO_FILE if size is None else size


def reach(address: Address, writer: str) -> FsspecStore:
    """Return the store that an fsspec URL names; raise where it is none or cannot be reached."""
    try:
        import fsspec  # noqa: PLC0415 - slow, and only such a store needs it
    except ImportError as error:
        raise LIBRARY.error(
            file=address.text, found=f"no {error.name}", install="pip install 'parambak[store]'"
        ) from error
    if address.scheme not in fsspec.available_protocols():
        raise ADDRESS.error(expected="a folder, sftp:// or a store of fsspec", found=address.text)
    try:
        system, path = fsspec.core.url_to_fs(
            address.text, skip_instance_cache=True, use_listings_cache=False
        )
    except ImportError as error:
        found = disk.shown(str(error))
        install = "pip install what `found` names"
        raise LIBRARY.error(file=address.text, found=found, install=install) from error
    except Exception as error:
        # Whatever a foreign library raises, it is not reached.
        found = disk.shown(f"{type(error).__name__}: {error}")
        raise UNREACHABLE.error(file=address.text, found=found) from error
    return FsspecStore(address.text, system, path, writer)


def as_os_error(act: Callable[[], T]) -> T:
    """Do it; whatever a foreign library raises becomes an OSError."""
    try:
        return act()
    except OSError:
        raise
    except Exception as error:
        text = disk.shown(f"{type(error).__name__}: {error}")
        raise OSError(errno.EIO, text) from error
