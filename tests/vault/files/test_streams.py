from __future__ import annotations

import errno
import os
from typing import TYPE_CHECKING

import pytest

from parambak.vault.files import disk, streams

if TYPE_CHECKING:
    from pathlib import Path

DATA = bytes(range(256)) * 9


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a file that takes several calls of the system to read."""
    monkeypatch.setattr(streams, "_PIECE", 1000)
    path = tmp_path / "file"
    path.write_bytes(DATA)
    return path


def test_a_stream_is_read_to_its_end_without_a_size(file: Path) -> None:
    """Left out, None or negative: all that is left, from the position of the stream."""
    with disk.reading(file) as stream:
        assert stream.read() == DATA
        assert stream.read() == b""
        stream.seek(5)
        assert stream.read(-1) == DATA[5:]
        stream.seek(-7, os.SEEK_END)
        assert stream.read(None) == DATA[-7:]  # type: ignore[arg-type]


def test_a_stream_gives_the_size_asked_for(file: Path) -> None:
    """Over several calls of the system; fewer bytes only at the end, and none for 0."""
    with disk.reading(file) as stream:
        assert stream.read(2100) == DATA[:2100]
        assert stream.read(0) == b""
        assert stream.read(5000) == DATA[2100:]


def test_a_stream_writes_all_or_says_why(
    tmp_path: Path, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If the system takes a part, it is given the rest; if it takes nothing, OSError."""
    write = os.write
    monkeypatch.setattr(os, "write", lambda to, data: write(to, bytes(data)[:700]))
    with disk.exporting(tmp_path / "out") as stream:
        assert stream.write(DATA) == len(DATA)
        stream.seek(0)
        assert stream.read() == DATA
    assert (tmp_path / "out").read_bytes() == DATA
    monkeypatch.setattr(os, "write", lambda _to, _data: 0)
    descriptor = os.open(file, os.O_RDWR)
    with streams.Stream(descriptor) as out:
        assert out.fileno() == descriptor
        assert (out.readable(), out.seekable(), out.writable()) == (True, True, True)
        with pytest.raises(OSError, match="wrote nothing") as failure:
            out.write(b"x")
    assert failure.value.errno == errno.EIO
    out.close()  # once more does no harm
