"""A stand-in for a disk that fails: it stands between the program and the system's calls.

Tests may run as root, whom no permission stops; so the refusals are made here.
"""

from __future__ import annotations

import os
import stat
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

BY_PATH = ("mkdir", "unlink", "rmdir", "chmod", "replace", "rename", "link")
BY_DESCRIPTOR = ("write", "fsync", "ftruncate", "lseek")
WRITING = os.O_WRONLY | os.O_RDWR | os.O_CREAT


class Disk:
    """Counts the operations under a folder that change it, and fails the one it is told to.

    `fail_at` counts from 0; from there on one operation fails, or with `for_ever` all.
    `act` is called instead of failing, to stop the process there for instance. `short`
    makes each write take at most that many bytes.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = os.fspath(folder)
        self.operations: list[str] = []
        self.fail_at = -1
        self.for_ever = False
        self.number = 0
        self.short = 0
        self.act: Callable[[], None] = self._fail

    def flushes(self) -> list[str]:
        """Return the flushes so far: "file" or "folder" each."""
        return [each.split()[1] for each in self.operations if each.startswith("fsync")]

    @contextmanager
    def in_place(self) -> Iterator[Disk]:
        """Stand between while the block runs."""
        with pytest.MonkeyPatch.context() as patch:
            for name in BY_PATH:
                patch.setattr(os, name, self._by_path(name, getattr(os, name)))
            for name in BY_DESCRIPTOR:
                patch.setattr(os, name, self._by_descriptor(name, getattr(os, name)))
            patch.setattr(os, "open", self._open(os.open))
            yield self

    def _fail(self) -> None:
        raise OSError(self.number, os.strerror(self.number))

    def _step(self, what: str) -> None:
        here = len(self.operations)
        self.operations.append(what)
        if self.fail_at >= 0 and (here == self.fail_at or (self.for_ever and here > self.fail_at)):
            self.act()

    def _by_path(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(path: Any, *rest: Any, **options: Any) -> Any:
            if os.fspath(path).startswith(self._folder):
                self._step(name)
            return real(path, *rest, **options)

        return call

    def _by_descriptor(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(descriptor: int, *rest: Any) -> Any:
            if not _path_of(descriptor).startswith(self._folder):
                return real(descriptor, *rest)
            folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
            self._step(f"{name} {'folder' if folder else 'file'}")
            if name == "fsync":
                return None  # counted; a real one would only make the tests slow
            if name == "write" and self.short:
                rest = (bytes(rest[0][: self.short]),)
            return real(descriptor, *rest)

        return call

    def _open(self, real: Callable[..., int]) -> Callable[..., int]:
        def call(path: Any, flags: int, *rest: Any, **options: Any) -> int:
            if flags & WRITING and os.fspath(path).startswith(self._folder):
                self._step("open")
            return real(path, flags, *rest, **options)

        return call


def _path_of(descriptor: int) -> str:
    return os.readlink(f"/proc/self/fd/{descriptor}")  # noqa: PTH115 - a Path may be stood between
