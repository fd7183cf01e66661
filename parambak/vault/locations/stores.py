"""A store: where a place's files lie. The seam, and a folder; others in stores_fsspec, _sftp.

A store keeps small files under names such as `objects/ab/abcd…`. Every failure is an OSError.
formats/places.md, "Sending", says what each must hold to.
"""

from __future__ import annotations

import errno
import os
from contextlib import contextmanager, nullcontext, suppress
from typing import TYPE_CHECKING, NamedTuple, Protocol

from parambak.errors import ParambakError
from parambak.vault import faults
from parambak.vault.files import disk
from parambak.vault.files.lock import locked

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

NO_FILE = -1  # the size of what is no file
LOCK = "lock"


class Store(Protocol):
    """What every store can do; all names have forward slashes, "" is the top folder."""

    @property
    def shown(self) -> str:
        """Return where it is, for a person."""

    def names(self, folder: str) -> dict[str, int]:
        """Return the names in a folder and their sizes; none where the folder is not there."""

    def read(self, file: str, limit: int) -> bytes:
        """Return a file's bytes; FileNotFoundError, or UnfitFileError where over `limit`."""

    def write(self, file: str, data: bytes) -> None:
        """Write a file whole or not at all, its folders too; read back and hashed."""

    def rename(self, file: str, to: str) -> None:
        """Give a file another name, which nothing has; makes the folder of `to`."""

    def holding(self, since: str) -> AbstractContextManager[None]:
        """Keep other writers out while the block runs, where the store can."""

    def close(self) -> None:
        """End the connection."""


class SshTerms(NamedTuple):
    """The files that say whom to trust and who we are; those that are not there are passed over."""

    known_hosts: tuple[Path, ...] = ()
    keys: tuple[Path, ...] = ()


class FolderStore:
    """A folder, on a disk, stick or share."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._same = self._what_is_there()

    @property
    def shown(self) -> str:
        """Return the folder's path."""
        return str(self.root)

    def names(self, folder: str) -> dict[str, int]:
        """Return the names in a folder and their sizes; none where the folder is not there."""
        if self._same is not None:
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
        if self._same is None:
            self._same = self._what_is_there()

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

    def _what_is_there(self) -> tuple[int, int] | None:
        try:
            status = os.stat(self.root)  # noqa: PTH116 - os throughout
        except (FileNotFoundError, NotADirectoryError):
            return None
        return (status.st_dev, status.st_ino)

    def _must_be_same(self) -> None:
        """Fail where the stick was pulled out: its mount point must not be filled instead."""
        if self._same is None and not self.root.parent.is_dir():
            raise FileNotFoundError(errno.ENOENT, "The folder that it would be in is not there")
        if self._same is not None and self._what_is_there() != self._same:
            raise OSError(errno.ENODEV, "The folder is gone, or another one has come in its place")
