"""A file read or written piece by piece, by the same system calls as all others (disk.py)."""

from __future__ import annotations

import errno
import io
import os
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

_PIECE = 1 << 20  # bytes asked of the system at once


class Stream(io.RawIOBase):
    """An open descriptor; reads what is asked for, and writes all it is given, or raises OSError.

    Nothing is held back in a buffer, so nothing is left to write when it is closed.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def fileno(self) -> int:
        """Return the descriptor."""
        return self._descriptor

    def readable(self) -> bool:
        """Say yes."""
        return True

    def seekable(self) -> bool:
        """Say yes."""
        return True

    def writable(self) -> bool:
        """Say yes; the system refuses if it was opened for reading."""
        return True

    def read(self, size: int | None = -1, /) -> bytes:
        """Return the next `size` bytes, fewer only at the file's end; without a size, all."""
        remaining = sys.maxsize if size is None or size < 0 else size
        pieces = []
        while remaining > 0 and (piece := os.read(self._descriptor, min(remaining, _PIECE))):
            pieces.append(piece)
            remaining -= len(piece)
        return b"".join(pieces)

    def write(self, data: ReadableBuffer, /) -> int:
        """Write all bytes, and return how many they are."""
        remaining = memoryview(data)
        size = len(remaining)
        while remaining:
            written = os.write(self._descriptor, remaining)
            if written <= 0:
                raise OSError(errno.EIO, "The system wrote nothing")
            remaining = remaining[written:]
        return size

    def seek(self, offset: int, whence: int = os.SEEK_SET, /) -> int:
        """Go to an offset, and return it from the file's beginning."""
        return os.lseek(self._descriptor, offset, whence)

    def close(self) -> None:
        """Close the descriptor, once."""
        if not self.closed:
            super().close()
            os.close(self._descriptor)
