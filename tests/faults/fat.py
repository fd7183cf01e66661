"""A file system with few features: FAT, by a stand-in (a real one: real.py).

The stand-in refuses links, permissions and the flush of a folder; takes a name for the same as
one that differs in case; refuses names that FAT refuses; has file times of 2 s, folder times that
never change (as Windows leaves them on FAT), and no inode numbers. After Microsoft's "FAT32
File System Specification" (2000) for names and times; the rest is common practice, no source.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.faults import soundness
from tests.faults.commands import TABLE, begin, call, repeating
from tests.faults.disk import path_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from tests.faults.commands import Writes

ONE_PATH = ("mkdir", "unlink", "rmdir", "stat", "lstat", "listdir", "scandir", "utime", "truncate")
TWO_PATHS = ("rename", "replace")
REFUSED = ("link", "symlink", "chmod", "chown")
FOLDER_TIME = 1_600_000_000_000_000_000
COARSE = 2_000_000_000
FORBIDDEN = set('"*:<>?|\\') | {chr(n) for n in range(32)}
DEVICES = {"con", "prn", "aux", "nul", *(f"{n}{d}" for n in ("com", "lpt") for d in range(1, 10))}


class Fat:
    """Is between the program and a folder, which behaves as FAT does."""

    def __init__(self, folder: Path) -> None:
        self._folder = os.fspath(folder)
        self._listdir = os.listdir
        self.refused: set[str] = set()

    @contextmanager
    def in_place(self) -> Iterator[Fat]:
        """Replace the system's calls while the block runs."""
        with pytest.MonkeyPatch.context() as patch:
            for name in ONE_PATH:
                patch.setattr(os, name, self._folding(name, getattr(os, name)))
            for name in TWO_PATHS:
                patch.setattr(os, name, self._folding_two(getattr(os, name)))
            for name in REFUSED:
                patch.setattr(os, name, self._refusing(name, getattr(os, name)))
            patch.setattr(os, "open", self._folding("open", os.open))
            patch.setattr(os, "fstat", self._coarse(os.fstat))
            patch.setattr(os, "fsync", self._no_folder_flush)
            yield self

    def _ours(self, path: Any) -> bool:
        return not isinstance(path, int) and os.fsdecode(path).startswith(self._folder)

    def fold(self, path: Any) -> str:
        """Return the path as it is on the disk, for a name in any case."""
        at = self._folder
        for part in Path(os.fsdecode(path)[len(self._folder) :]).parts:
            if part == os.sep:
                continue
            self._refuse_name(part)
            at = f"{at}/{self._standing(at, part)}"
        return at

    def _standing(self, folder: str, name: str) -> str:
        try:
            names = self._listdir(folder)
        except OSError:
            return name
        return next((n for n in names if n.casefold() == name.casefold()), name)

    def _refuse_name(self, name: str) -> None:
        device = name.partition(".")[0].casefold() in DEVICES
        if device or FORBIDDEN & set(name) or name[-1] in ". " or len(name) > 255:
            self.refused.add("name")
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL), name)

    def _folding(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(path: Any = ".", *rest: Any, **options: Any) -> Any:
            if not self._ours(path):
                return real(path, *rest, **options)
            done = real(self.fold(path), *rest, **options)
            return _coarsened(done) if name in ("stat", "lstat") else done

        return call

    def _folding_two(self, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(old: Any, new: Any, **options: Any) -> Any:
            pair = (self.fold(p) if self._ours(p) else p for p in (old, new))
            return real(*pair, **options)

        return call

    def _refusing(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(path: Any, *rest: Any, **options: Any) -> Any:
            if not self._ours(path):
                return real(path, *rest, **options)
            self.refused.add(name)
            raise PermissionError(errno.EPERM, os.strerror(errno.EPERM), str(path))

        return call

    def _coarse(self, real: Callable[[int], os.stat_result]) -> Callable[[int], os.stat_result]:
        def call(descriptor: int) -> os.stat_result:
            found = real(descriptor)
            ours = path_of(descriptor).startswith(self._folder)
            return _coarsened(found) if ours else found

        return call

    def _no_folder_flush(self, descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            self.refused.add("folder flush")
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))


def _coarsened(found: os.stat_result) -> os.stat_result:
    folder = stat.S_ISDIR(found.st_mode)
    modified = FOLDER_TIME if folder else found.st_mtime_ns // COARSE * COARSE
    seconds = modified // 1_000_000_000
    plain = (*found[:1], 0, *found[2:8], seconds, seconds)
    times = {"st_mtime": float(seconds), "st_mtime_ns": modified, "st_ctime_ns": modified}
    return os.stat_result(plain, {**times, "st_atime": float(seconds), "st_atime_ns": modified})


@dataclass
class Figures:
    """The result of a run: the commands that answered as elsewhere, and what was wrong."""

    commands: int = 0
    wrong: list[str] = field(default_factory=list)


def run_on(folder: Path, table: Iterable[Writes] = TABLE) -> Figures:
    """Call every command of the table in a folder, from its beginning on."""
    figures = Figures()
    for number, writes in enumerate(table):
        here = folder / f"case-{number}"
        with repeating(("fat", writes.name), flushes=True):
            begin(here, writes.start)
            before = soundness.records_of(here)
            outcome = call(here, writes.words)
            if outcome.code != writes.code:
                figures.wrong.append(f"{writes.name}: {outcome.said}")
            added = soundness.records_of(here) - before
            if any(added[kind] != count for kind, count in writes.adds.items()):
                figures.wrong.append(f"{writes.name} added {dict(added)}")
            figures.wrong += [f"{writes.name}: {each}" for each in soundness.faults_of(here)]
            again = call(here, ("recheck",))
            if again.code != 0:
                figures.wrong.append(f"{writes.name}, then recheck: {again.said}")
        figures.commands += 1
        shutil.rmtree(here, ignore_errors=True)
    return figures
