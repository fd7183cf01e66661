"""Facts about the file system below a vault, and about the medium that it is on.

Linux's FAT writes a file's length and place into the entry of its name, and when a file is
renamed it makes a new entry without them: they come with the next flush of the file, not of the
folder. Power that fails before leaves a file of no length under the new name, however well the
file was flushed under its old one. A test that cuts the power shows it (tests/faults/real.py). The
reason is in Linux's fs/fat/namei_vfat.c (from memory).

A stick or a share is slow to flush, may not keep SQLite's locks, and another system may write
to it that leaves the folders' times alone: the index of a vault there goes into the user's
cache folder, and no folder's time is believed. formats/vault.md, "The index".
"""

from __future__ import annotations

import os
import sys
from functools import cached_property
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

# What Linux calls the file systems that forget a renamed file's length, and those that give
# each small file a whole cluster.
FORGETTING = frozenset({"vfat", "msdos"})
FAT = frozenset({"vfat", "msdos", "exfat"})
# File systems, by Linux's names, of sticks, of shares, and of media that are only read.
STICKS = frozenset({"vfat", "msdos", "exfat", "fuseblk"})
SHARES = frozenset(
    {"nfs", "nfs4", "cifs", "smb2", "smb3", "smbfs", "ncpfs", "afs", "coda", "ceph"}
    | {"glusterfs", "lustre", "9p", "virtiofs", "davfs", "fuse"}
)
ONLY_READ = frozenset({"iso9660", "udf", "squashfs"})
FUSE = "fuse."  # what a user's own process mounts, such as fuse.sshfs
MOUNTS = "/proc/self/mountinfo"
DEVICES = "/sys/dev/block"
_ESCAPED = {r"\040": " ", r"\011": "\t", r"\012": "\n", r"\134": "\\"}
_MOST = 1 << 20
_PIECE = 1 << 16  # bytes read at once
# What Windows answers: GetDriveTypeW, "Return value" in the documentation of the Windows API.
_REMOVABLE, _REMOTE, _CDROM = 2, 4, 5


class Storage:
    """What a vault in `root` lies on: looked up once, because the question is slow."""

    def __init__(self, root: Path) -> None:
        self.root = root

    @cached_property
    def stick_or_share(self) -> bool:
        """Whether it is a stick, a share or a medium that is only read."""
        return on_stick_or_share(self.root)


def read_system_file(path: str, limit: int) -> bytes:
    """Return the first `limit` bytes of a file of the system, such as those below /proc."""
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    try:
        pieces = []
        while limit > 0 and (piece := os.read(descriptor, min(limit, _PIECE))):
            pieces.append(piece)
            limit -= len(piece)
        return b"".join(pieces)
    finally:
        os.close(descriptor)


def forgets_when_renamed(folder: Path) -> bool:
    """Return whether a file must be flushed once more after it was renamed in this folder."""
    if sys.platform != "linux":
        return False
    try:
        if os.statvfs(folder).f_files:  # FAT has no count of files, most others do
            return False
        device = os.stat(folder).st_dev  # noqa: PTH116 - os throughout
        mounts = read_system_file(MOUNTS, _MOST)
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


def on_one_disk(folder: Path, second: Path) -> bool:
    """Return whether two folders that are there lie on one file system; raises OSError."""
    return folder.stat().st_dev == second.stat().st_dev


def has_fat(folder: Path) -> bool:
    """Return whether a folder's file system is FAT or exFAT; False if not known."""
    if sys.platform == "win32":
        return _windows_name(str(folder)).upper() in {"FAT", "FAT12", "FAT16", "FAT32", "EXFAT"}
    try:
        device = os.stat(folder).st_dev  # noqa: PTH116 - os throughout
        mounts = read_system_file(MOUNTS, _MOST)
    except OSError:
        return False
    return kind_of(mounts, f"{os.major(device)}:{os.minor(device)}") in FAT


def on_stick_or_share(root: Path) -> bool:
    """Return whether a folder, there or not yet, is on a stick, a share or a read-only medium."""
    path = str(root.resolve())
    if sys.platform == "win32":
        return _drive_type(path) in {_REMOVABLE, _REMOTE, _CDROM}
    if sys.platform == "darwin":
        return path.startswith("/Volumes/")  # where macOS mounts all but its own disk
    return _linux(path)


def _linux(path: str) -> bool:
    try:
        mounts = read_system_file(MOUNTS, _MOST).decode("utf-8", "surrogateescape")
    except OSError:
        return False
    mount = ("", "", "")
    for line in mounts.splitlines():
        before, _, behind = line.partition(" - ")
        fields, kind = before.split(" "), behind.split(" ", 1)[0]
        if len(fields) < 5:
            continue
        point = _unescaped(fields[4])
        inside = path == point or path.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(mount[0]):  # of two at one point the later one counts
            mount = (point, kind, fields[2])
    _, kind, device = mount
    if kind in STICKS | SHARES | ONLY_READ or kind.startswith(FUSE):
        return True
    return _removable(device)


def _unescaped(text: str) -> str:
    if "\\" in text:
        for escaped, plain in _ESCAPED.items():
            text = text.replace(escaped, plain)
    return text


def _removable(device: str) -> bool:
    """Return whether Linux calls a block device, by `MAJOR:MINOR`, removable or on USB."""
    link = f"{DEVICES}/{device}"
    try:
        way = os.readlink(link) if device else ""  # noqa: PTH115 - os throughout
    except OSError:
        way = ""
    if not way or "/usb" in way:
        return bool(way)
    for folder in (link, f"{link}/.."):  # a partition's disk is the folder above it
        try:
            if read_system_file(f"{folder}/removable", 16).strip() == b"1":
                return True
        except OSError:
            continue
    return False


if sys.platform == "win32":

    def _drive_type(path: str) -> int:
        import ctypes  # noqa: PLC0415 - only Windows asks its own library

        drive = os.path.splitdrive(path)[0]  # of a share, its name
        return int(ctypes.windll.kernel32.GetDriveTypeW(drive + "\\"))

    def _windows_name(folder: str) -> str:
        import ctypes  # noqa: PLC0415 - only Windows asks its own library

        drive = os.path.splitdrive(folder)[0]  # of a share, its name
        name = ctypes.create_unicode_buffer(64)
        ctypes.windll.kernel32.GetVolumeInformationW(
            drive + "\\", None, 0, None, None, None, name, len(name)
        )
        return name.value
