"""On what a vault lies, and so where its index is kept. formats/vault.md, "The index".

A stick or a share is slow to flush, may not keep SQLite's locks, and another system may write
to it that leaves the folders' times alone: there the index goes into the user's cache folder,
and no folder's time is believed.
"""

from __future__ import annotations

import os
import sys
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from parambak.memory.digests import sha256
from parambak.vault.files import disk

if TYPE_CHECKING:
    from pathlib import Path

FILE = "index.sqlite"
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
# What Windows answers: GetDriveTypeW, "Return value" in the documentation of the Windows API.
_REMOVABLE, _REMOTE, _CDROM = 2, 4, 5


class IndexPlace(NamedTuple):
    """The index's file; a digest of the vault's folder where that lies elsewhere, else "".

    `folder_times` is whether the times of the vault's folders may be believed.
    """

    file: Path
    folder: str
    folder_times: bool

    def make(self) -> None:
        """Make the folder of an index that lies apart from its vault; raises OSError."""
        if self.folder:
            disk.make_folder(self.file.parent, [])


class Medium:
    """What the vault in `root` lies on: looked up once, since asking takes its time."""

    def __init__(self, root: Path) -> None:
        self.root = root

    @cached_property
    def stick_or_share(self) -> bool:
        """Whether it is a stick, a share or a medium that is only read."""
        return on_stick_or_share(self.root)


def index_place(medium: Medium, identity: str, cache: Path | None) -> IndexPlace:
    """Return where a vault's index lies; `cache` is the user's folder for those on sticks.

    Two copies of one vault share its identity and may hold different records, so the folder
    is part of the name in the cache.
    """
    root = medium.root
    if cache is None or not medium.stick_or_share:
        return IndexPlace(root / FILE, "", folder_times=True)
    name = sha256(f"{identity}\n{root.resolve()}".encode("utf-8", "surrogateescape"))
    return IndexPlace(cache / f"{name[:32]}.sqlite", name, folder_times=False)


def on_stick_or_share(root: Path) -> bool:
    """Tell whether a folder, there or not yet, lies on a stick, a share or a medium only read."""
    path = str(root.resolve())
    if sys.platform == "win32":
        return _drive_type(path) in {_REMOVABLE, _REMOTE, _CDROM}
    if sys.platform == "darwin":
        return path.startswith("/Volumes/")  # where macOS mounts all but its own disk
    return _linux(path)


def _linux(path: str) -> bool:
    try:
        mounts = disk.read_system_file(MOUNTS, _MOST).decode("utf-8", "surrogateescape")
    except OSError:
        return False
    found = ("", "", "")
    for line in mounts.splitlines():
        before, _, behind = line.partition(" - ")
        fields, kind = before.split(" "), behind.split(" ", 1)[0]
        if len(fields) < 5:
            continue
        point = _unescaped(fields[4])
        inside = path == point or path.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(found[0]):  # of two at one point the later one counts
            found = (point, kind, fields[2])
    _, kind, device = found
    if kind in STICKS | SHARES | ONLY_READ or kind.startswith(FUSE):
        return True
    return _removable(device)


def _unescaped(text: str) -> str:
    if "\\" in text:
        for escaped, plain in _ESCAPED.items():
            text = text.replace(escaped, plain)
    return text


def _removable(device: str) -> bool:
    """Tell whether Linux calls a block device, by `MAJOR:MINOR`, removable or on USB."""
    here = f"{DEVICES}/{device}"
    try:
        way = os.readlink(here) if device else ""  # noqa: PTH115 - os throughout
    except OSError:
        way = ""
    if not way or "/usb" in way:
        return bool(way)
    for folder in (here, f"{here}/.."):  # a partition's disk is the folder above it
        try:
            if disk.read_system_file(f"{folder}/removable", 16).strip() == b"1":
                return True
        except OSError:
            continue
    return False


if sys.platform == "win32":

    def _drive_type(path: str) -> int:
        import ctypes  # noqa: PLC0415 - only Windows asks its own library

        drive = os.path.splitdrive(path)[0]  # of a share, its name
        return int(ctypes.windll.kernel32.GetDriveTypeW(drive + "\\"))
