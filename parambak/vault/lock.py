"""The writers' lock: the operating system's own, so that a kill releases it.

Reading takes no lock: nothing that is read ever changes.
"""

from __future__ import annotations

import os
import sys
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from parambak.vault import files
from parambak.vault.faults import BUSY, NO_LOCK

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
_FLAGS = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0)


@contextmanager
def locked(path: Path, since: str, *, wait: float | None = None) -> Iterator[None]:
    """Hold the writers' lock while the block runs; a kill releases it too.

    `since` goes into the file for the second writer to be told. Raises `vault-busy`
    after `wait` seconds, `vault-no-lock`, or what a failed write becomes.
    """
    descriptor = _lock(path, WAIT if wait is None else wait)
    try:
        with suppress(OSError):  # who holds it is a courtesy; holding it is not
            os.write(descriptor, f"process {os.getpid()} on {_host()} since {since}\n".encode())
        yield
    finally:
        with suppress(OSError):
            os.ftruncate(descriptor, 0)
        os.close(descriptor)


def _lock(path: Path, wait: float) -> int:
    deadline = time.monotonic() + wait
    while True:
        try:
            descriptor = os.open(path, _FLAGS, files.OPEN)
        except OSError as error:
            raise files.write_refusal(error, path) from error
        held = False
        try:
            held = _lock_now(descriptor) and _is_still(descriptor, path)
        except OSError as error:
            raise NO_LOCK.at(file=str(path), found=files.words(error)) from error
        finally:
            if not held:
                os.close(descriptor)
        if held:
            return descriptor
        if time.monotonic() >= deadline:
            raise BUSY.at(file=str(path), found=_holder(path))
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
    with suppress(OSError):
        os.lseek(descriptor, 0, os.SEEK_SET)
        os.ftruncate(descriptor, 0)  # what a killed holder left
    return True


def _is_still(descriptor: int, path: Path) -> bool:
    """Tell whether the locked file is the one under that name, and not a removed one."""
    try:
        return os.path.samestat(os.fstat(descriptor), os.stat(path))  # noqa: PTH116 - os
    except FileNotFoundError:
        return False


def _holder(path: Path) -> str:
    try:
        text = files.read_file(path, 4096).decode("utf-8", "replace").strip()
    except OSError:
        text = ""
    return files.shown(text) or "a process that did not say who it is"


def _host() -> str:
    """Return the computer's name where the system tells it without the environment."""
    return "this computer" if sys.platform == "win32" else os.uname().nodename
