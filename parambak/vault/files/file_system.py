"""What has to be known of one file system so that what is written to it lasts.

Linux's FAT writes a file's length and place into the entry of its name, and when a file is
renamed it makes a new entry without them: they come with the next flush of the file, not of the
folder. Power that fails before leaves a file of no length under the new name, however well the
file was flushed under its old one. Found by cutting it (tests/faults/real.py); the reason is in
Linux's fs/fat/namei_vfat.c, as far as it is remembered.
"""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

FORGETTING = frozenset({"vfat", "msdos"})
MOUNTS = "/proc/self/mountinfo"
_MOST = 1 << 20


def forgets_when_renamed(folder: Path) -> bool:
    """Tell whether a file must be flushed once more after it was renamed in this folder."""
    if sys.platform != "linux":
        return False
    try:
        if os.statvfs(folder).f_files:  # FAT counts none, and most others do: no need to look
            return False
        device = os.stat(folder).st_dev  # noqa: PTH116 - os throughout
        with open(MOUNTS, "rb") as file:  # noqa: PTH123 - a system's file, asked at each write
            mounts = file.read(_MOST)
    except OSError:
        return True  # one flush more does no harm
    return kind_of(mounts, f"{os.major(device)}:{os.minor(device)}") in FORGETTING


def kind_of(mounts: bytes, device: str) -> str:
    """Return the kind of a mounted file system by `MAJOR:MINOR`, as Linux's proc(5) lists it."""
    for line in mounts.decode("ascii", "replace").splitlines():
        before, _, behind = line.partition(" - ")
        fields = before.split(" ")
        if len(fields) > 2 and fields[2] == device:
            return behind.partition(" ")[0]
    return ""
