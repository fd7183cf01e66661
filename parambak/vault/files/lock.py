"""The writers' lock: the operating system's own, so that a kill releases it.

Reading takes no lock: nothing that is read ever changes.
"""

from __future__ import annotations

import errno
import os
import sys
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from parambak.vault.faults import BUSY, NO_LOCK
from parambak.vault.files import disk

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

WAIT = 2.0  # seconds that a second writer waits before it is refused
STEP = 0.05  # seconds between its tries
# Windows locks make the bytes they cover unreadable: this one lies far behind the text.
OFFSET = 1 << 30
SIGNED = 160  # characters of the text that shows who holds it
_FLAGS = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0)


class Held:
    """The lock while it is held.

    `unproven`: earlier files may not be flushed. It begins true if the holder before was stopped or
    left it so. While it is true the file keeps its text.
    """

    def __init__(self, descriptor: int, path: Path, *, unproven: bool) -> None:
        self._descriptor = descriptor
        self._path = path
        self.unproven = unproven

    def stands(self) -> bool:
        """Return whether the lock is still at its path; a stick may have been pulled out."""
        try:
            return _is_still(self._descriptor, self._path)
        except OSError:
            return False


@contextmanager
def locked(path: Path, since: str, *, wait: float | None = None) -> Iterator[Held]:
    """Hold the writers' lock while the block runs; a kill releases it too.

    `since` goes into the file, for the message to a second writer, and stays until the block ends:
    a text without a lock is of a writer that was stopped. Raises `vault-busy`
    after `wait` seconds, `vault-no-lock`, or what a failed write becomes.
    """
    descriptor, signed = _lock(path, WAIT if wait is None else wait)
    held = Held(descriptor, path, unproven=signed)
    try:
        _sign(descriptor, path, since)
        yield held
    finally:
        try:
            if not held.unproven:
                with suppress(OSError):
                    os.ftruncate(descriptor, 0)
        finally:
            os.close(descriptor)


def _sign(descriptor: int, path: Path, since: str) -> None:
    # Of one length and over the old one, so that the file is never empty in between.
    text = f"process {os.getpid()} on {_host()} since {since}".ljust(SIGNED) + "\n"
    try:
        os.lseek(descriptor, 0, os.SEEK_SET)
        written = os.write(descriptor, text.encode())
    except OSError as error:
        raise disk.write_refusal(error, path) from error
    if not written:
        raise disk.write_refusal(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)), path)


def _lock(path: Path, wait: float) -> tuple[int, bool]:
    """Return the locked file, and whether it holds a text."""
    deadline = time.monotonic() + wait
    while True:
        try:
            descriptor = os.open(path, _FLAGS, disk.OPEN)
        except OSError as error:
            raise disk.write_refusal(error, path) from error
        held = signed = False
        try:
            locked_now = _lock_now(descriptor) and _is_still(descriptor, path)
            signed = locked_now and os.fstat(descriptor).st_size > 0
            held = locked_now
        except OSError as error:
            raise NO_LOCK.error(file=str(path), found=disk.words(error)) from error
        finally:
            if not held:
                os.close(descriptor)
        if held:
            return descriptor, signed
        if time.monotonic() >= deadline:
            raise BUSY.error(file=str(path), found=_holder(path))
        time.sleep(STEP)


def _lock_now(descriptor: int) -> bool:
    try:
        if sys.platform == "win32":
            os.lseek(descriptor, OFFSET, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def _is_still(descriptor: int, path: Path) -> bool:
    """Return whether the locked file is the one under that name, and not a removed one."""
    try:
        return os.path.samestat(os.fstat(descriptor), os.stat(path))  # noqa: PTH116 - os
    except FileNotFoundError:
        return False


def _holder(path: Path) -> str:
    try:
        text = disk.read_file(path, 4096).decode("utf-8", "replace").strip()
    except OSError:
        text = ""
    return disk.shown(text) or "a process that left no name"


def _host() -> str:
    """Return the computer's name if the system gives it without the environment."""
    return "this computer" if sys.platform == "win32" else os.uname().nodename
