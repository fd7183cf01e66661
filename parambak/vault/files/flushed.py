"""Which objects of a vault need no flush again. formats/vault.md, "Writing".

An object that is already in place is flushed before a record relies on it: its writer may not have
flushed it. Layouts and persons are already in place at nearly every read. So the user's own folder
has a note of each file's state when it was flushed: device, inode, length and times. A file in that
very state is the one that was flushed; a file that replaces it, or a later write, has another inode
or another time of change.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import TYPE_CHECKING

import msgspec

from parambak.vault.files import disk
from parambak.vault.records import canonical

if TYPE_CHECKING:
    from pathlib import Path

    from parambak.vault.files.file_system import Storage

FILE = "written/flushed.json"
MOST = 128  # files noted, those used last
_MAX_BYTES = 1 << 16


class Flushed:
    """The note of one user, for files of the vault in `root`.

    On a stick or a share nothing is noted: inodes there are made up as files are met.
    """

    def __init__(self, own: Path, storage: Storage) -> None:
        self._file = own / FILE
        self._storage = storage
        self._states: dict[str, str] | None = None
        self._changed = False

    def flush(self, path: Path) -> None:
        """Flush a file that is already in place, and its folder, unless that was done; OSError."""
        key, state = _state(path)
        noted = self._noted()
        if state is not None and noted.get(key) == state:
            if len(noted) > MOST // 2:  # else nothing will push it out
                self.note(path)
            return
        disk.flush_standing(path)
        self.note(path)

    def note(self, path: Path) -> None:
        """Note that a file, just written or flushed, and its folder are on the disk."""
        key, state = _state(path)
        if state is not None and not self._storage.stick_or_share:
            noted = self._noted()
            noted.pop(key, None)
            noted[key] = state
            self._changed = True

    def keep(self) -> None:
        """Write the note; if that fails, files are flushed once more the next time."""
        if self._changed:
            newest = dict(list(self._noted().items())[-MOST:])
            with suppress(OSError):
                # A list keeps its order; the members of canonical JSON do not.
                disk.write_plain(self._file, canonical([*newest.items()]))

    def _noted(self) -> dict[str, str]:
        if self._states is None:
            self._states = {}
            with suppress(OSError, ValueError, RecursionError, msgspec.MsgspecError):
                data = disk.read_file(self._file, _MAX_BYTES)
                self._states = dict(msgspec.json.decode(data, type=list[tuple[str, str]]))
        return self._states


def _state(path: Path) -> tuple[str, str | None]:
    """Return a file's unique key, and its state; None if the state proves nothing."""
    if sys.platform == "win32":
        return "", None  # its inode and its time of change are no such proof
    try:
        status = os.stat(path, follow_symlinks=False)  # noqa: PTH116 - os throughout
    except OSError:
        return "", None
    key = f"{status.st_dev}:{status.st_ino}"
    return key, f"{status.st_size} {status.st_mtime_ns} {status.st_ctime_ns}"
