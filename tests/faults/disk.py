"""A stand-in for a disk that fails: it is between the program and the system's calls.

Tests may run as root, which no permission stops, so the refusals are made here. SQLite calls the
system by itself, so each of its statements is one operation, which fails with SQLite's error.
"""

from __future__ import annotations

import builtins
import io
import os
import sqlite3
import stat
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

BY_PATH = ("mkdir", "unlink", "rmdir", "chmod", "replace", "rename", "link", "utime", "truncate")
BY_DESCRIPTOR = ("write", "fsync", "ftruncate", "lseek")
READING_BY_PATH = ("stat", "lstat", "listdir", "scandir")
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT
SQLITE_NAMES = {28: "SQLITE_FULL", 5: "SQLITE_IOERR", 13: "SQLITE_PERM", 1: "SQLITE_READONLY"}


class Disk:
    """Counts the operations under a folder that change it, and fails the one it is stated to.

    `fail_at` counts from 0; from there on one operation fails, or with `for_ever` all.
    `act` is called instead of failing, to stop the process there for instance. `short`
    makes each write take at most that many bytes. `takes` makes the failing write take so
    many of the bytes it is given and not fail. With `reads`, reading and asking count too.
    """

    def __init__(self, folder: Path, *, reads: bool = False) -> None:
        self._folder = os.fspath(folder)
        self._reads = reads
        self.operations: list[str] = []
        self.fail_at = -1
        self.for_ever = False
        self.number = 0
        self.short = 0
        self.flushes_through = False
        self.takes: Callable[[int], int] | None = None
        self.act: Callable[[], None] = self._fail

    def flushes(self) -> list[str]:
        """Return the flushes so far: "file" or "folder" each."""
        return [each.split()[1] for each in self.operations if each.startswith("fsync")]

    @property
    def ended(self) -> bool:
        """Return whether everything went by before the operation that was to fail."""
        return self.fail_at >= len(self.operations)

    @contextmanager
    def in_place(self) -> Iterator[Disk]:
        """Replace the system's calls while the block runs."""
        by_path = (*BY_PATH, *READING_BY_PATH) if self._reads else BY_PATH
        by_descriptor = (*BY_DESCRIPTOR, "read") if self._reads else BY_DESCRIPTOR
        with pytest.MonkeyPatch.context() as patch:
            for name in by_path:
                patch.setattr(os, name, self._by_path(name, getattr(os, name)))
            for name in by_descriptor:
                patch.setattr(os, name, self._by_descriptor(name, getattr(os, name)))
            patch.setattr(os, "open", self._open(os.open))
            python_open = self._python_open(io.open)
            patch.setattr(io, "open", python_open)
            patch.setattr(builtins, "open", python_open)
            patch.setattr(sqlite3, "connect", self._connect(sqlite3.connect))
            yield self

    def _fail(self) -> None:
        raise OSError(self.number, os.strerror(self.number))

    def step(self, what: str) -> bool:
        """Count an operation; fail if it is its turn, or return whether a write is cut short."""
        here = len(self.operations)
        self.operations.append(what)
        due = here >= self.fail_at if self.for_ever else here == self.fail_at
        turn = self.fail_at >= 0 and due
        if turn and self.takes is None:
            self.act()
        return turn

    def _is_ours(self, path: Any) -> bool:
        # Not Path's own functions: they would come back to this one.
        if isinstance(path, int):
            return path_of(path).startswith(self._folder)
        return os.fsdecode(path).startswith(self._folder)

    def _by_path(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(path: Any = ".", *rest: Any, **options: Any) -> Any:
            if self._is_ours(path):
                self.step(name)
            return real(path, *rest, **options)

        return call

    def _by_descriptor(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(descriptor: int, *rest: Any) -> Any:
            if not path_of(descriptor).startswith(self._folder):
                return real(descriptor, *rest)
            folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
            turn = self.step(f"{name} {'folder' if folder else 'file'}")
            if name == "fsync" and not self.flushes_through:
                return None  # counted; a real one would only make the tests slow
            if name == "write":
                rest = (self._shortened(bytes(rest[0]), turn=turn),)
                if not rest[0]:
                    return 0
            return real(descriptor, *rest)

        return call

    def _shortened(self, data: bytes, *, turn: bool) -> bytes:
        if self.short:
            return data[: self.short]
        return data[: self.takes(len(data))] if turn and self.takes else data

    def _open(self, real: Callable[..., int]) -> Callable[..., int]:
        def call(path: Any, flags: int, *rest: Any, **options: Any) -> int:
            if (flags & WRITING or self._reads) and self._is_ours(path):
                self.step("open" if flags & WRITING else "open to read")
            return real(path, flags, *rest, **options)

        return call

    def _python_open(self, real: Callable[..., Any]) -> Callable[..., Any]:
        """Return Python's own `open`, whose writes go through `os.write` and are counted here."""

        def call(file: Any, mode: str = "r", *rest: Any, **options: Any) -> Any:
            if isinstance(file, int) or not self._is_ours(file):
                return real(file, mode, *rest, **options)
            if not set(mode) & set("wax+"):
                if self._reads:
                    self.step("open to read")
                return real(file, mode, *rest, **options)
            return python_file(file, mode, options)

        return call

    def _connect(self, real: Callable[..., Any]) -> Callable[..., Any]:
        disk = self

        class Connection(sqlite3.Connection):
            """A connection whose statements are operations of the disk."""

            def execute(self, *words: Any) -> Any:
                _as_sqlite(disk)
                return super().execute(*words)

            def executemany(self, *words: Any) -> Any:
                _as_sqlite(disk)
                return super().executemany(*words)

            def executescript(self, *words: Any) -> Any:
                _as_sqlite(disk)
                return super().executescript(*words)

        def call(path: Any, *rest: Any, **options: Any) -> Any:
            if str(path).startswith(self._folder):
                _as_sqlite(disk)
                options["factory"] = Connection
            return real(path, *rest, **options)

        return call


def _as_sqlite(disk: Disk) -> None:
    try:
        disk.step("sqlite")
    except OSError as error:
        wrong = sqlite3.OperationalError(error.strerror)
        wrong.sqlite_errorname = SQLITE_NAMES.get(error.errno or 5, "SQLITE_IOERR")
        raise wrong from error


class _Raw(io.RawIOBase):
    """A file whose every write is a call of `os.write`, or of its stand-in."""

    def __init__(self, path: Any, flags: int) -> None:
        self._descriptor = os.open(path, flags, 0o666)

    def fileno(self) -> int:
        return self._descriptor

    def readable(self) -> bool:
        return True

    def writable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return os.lseek(self._descriptor, offset, whence)

    def truncate(self, size: int | None = None) -> int:
        size = self.tell() if size is None else size
        os.ftruncate(self._descriptor, size)
        return size

    def readinto(self, buffer: Any) -> int:
        data = os.read(self._descriptor, len(buffer))
        buffer[: len(data)] = data
        return len(data)

    def write(self, data: Any) -> int:
        return os.write(self._descriptor, bytes(data))

    def close(self) -> None:
        if not self.closed:
            super().close()
            os.close(self._descriptor)


def python_file(path: Any, mode: str, options: dict[str, Any]) -> Any:
    """Open a file for writing as Python's `open` does, by calls that are stood between."""
    flags = os.O_RDWR
    if "w" in mode:
        flags |= os.O_CREAT | os.O_TRUNC
    elif "x" in mode:
        flags |= os.O_CREAT | os.O_EXCL
    elif "a" in mode:
        flags |= os.O_CREAT | os.O_APPEND
    raw = _Raw(path, flags)
    if options.get("buffering") == 0:
        return raw
    buffered = io.BufferedRandom(raw)
    if "b" in mode:
        return buffered
    return io.TextIOWrapper(
        buffered,
        **{k: v for k, v in options.items() if k in ("encoding", "errors", "newline")},
        write_through=True,
    )


def path_of(descriptor: int) -> str:
    """Return the path of an open file, from the system."""
    return os.readlink(f"/proc/self/fd/{descriptor}")  # noqa: PTH115 - a Path may be stood between
