"""Whether a folder lies on a stick with FAT, where the system tells."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from parambak.vault.files import disk
from parambak.vault.files.file_system import MOUNTS, kind_of

if TYPE_CHECKING:
    from pathlib import Path

# What Linux calls the file systems that give each small file a whole cluster.
FAT = frozenset({"vfat", "msdos", "exfat"})
_MOST = 1 << 20


def has_fat(folder: Path) -> bool:
    """Tell whether a folder's file system is FAT or exFAT; False where the system is silent."""
    if sys.platform == "win32":
        return _windows(str(folder)).upper() in {"FAT", "FAT12", "FAT16", "FAT32", "EXFAT"}
    try:
        device = os.stat(folder).st_dev  # noqa: PTH116 - os throughout
        mounts = disk.read_system_file(MOUNTS, _MOST)
    except OSError:
        return False
    return kind_of(mounts, f"{os.major(device)}:{os.minor(device)}") in FAT


if sys.platform == "win32":

    def _windows(folder: str) -> str:
        import ctypes  # noqa: PLC0415 - only Windows asks its own library

        drive = os.path.splitdrive(folder)[0]  # of a share, its name
        name = ctypes.create_unicode_buffer(64)
        ctypes.windll.kernel32.GetVolumeInformationW(
            drive + "\\", None, 0, None, None, None, name, len(name)
        )
        return name.value
