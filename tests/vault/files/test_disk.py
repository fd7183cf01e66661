from __future__ import annotations

import errno
import os
import stat
import time
from typing import TYPE_CHECKING, Any

import pytest

from parambak.errors import ParambakError
from parambak.vault.files import disk

if TYPE_CHECKING:
    from pathlib import Path


def test_a_sealed_file_is_whole_and_read_only(tmp_path: Path) -> None:
    """Bytes, name and mode are right, and no temporary file stays."""
    path = tmp_path / "objects" / "ab" / "abcd"
    disk.write_sealed(path, b"content")
    assert path.read_bytes() == b"content"
    assert stat.S_IMODE(path.stat().st_mode) == 0o444
    assert os.listdir(path.parent) == ["abcd"]  # noqa: PTH208 - names alone


def test_temporary_files_of_a_broken_write_are_cleared(tmp_path: Path) -> None:
    """The next write into a folder removes what a kill left there, and nothing else."""
    (tmp_path / "0123456789abcdef.tmp").write_bytes(b"half")
    (tmp_path / "0123456789abcdef.tmp").chmod(0o444)
    (tmp_path / "notes.txt").write_bytes(b"a stranger's")
    disk.write_sealed(tmp_path / "abcd", b"content")
    assert sorted(file.name for file in tmp_path.iterdir()) == ["abcd", "notes.txt"]


def test_a_short_write_is_gone_on_with(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A system that takes three bytes at a time gets them all."""
    write = os.write
    monkeypatch.setattr(os, "write", lambda fd, data: write(fd, bytes(data[:3])))
    disk.write_sealed(tmp_path / "abcd", b"0123456789")
    assert (tmp_path / "abcd").read_bytes() == b"0123456789"


def test_what_reads_back_wrong_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that stores wrong bytes is noticed before the rename."""
    write = os.write

    def lies(descriptor: int, data: Any) -> int:
        return write(descriptor, bytes(len(data)))

    monkeypatch.setattr(os, "write", lies)
    with pytest.raises(ParambakError) as caught:
        disk.write_sealed(tmp_path / "abcd", b"content")
    assert caught.value.code == "vault-write-failed"
    assert "read back" in str(caught.value.found)
    assert list(tmp_path.iterdir()) == []


def test_a_system_that_writes_nothing_does_not_hang(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A write that takes no bytes is an error, not a loop."""
    monkeypatch.setattr(os, "write", lambda _fd, _data: 0)
    with pytest.raises(ParambakError) as caught:
        disk.write_sealed(tmp_path / "abcd", b"content")
    assert caught.value.code == "vault-write-failed"


def test_a_held_file_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """If a virus scanner holds a file for a moment, the write waits and continues."""
    waited: list[float] = []
    replace, refusals = os.replace, [PermissionError(errno.EACCES, "held")] * 2

    def held(source: Path, target: Path) -> None:
        if refusals:
            raise refusals.pop()
        replace(source, target)

    monkeypatch.setattr(disk, "BACK_OFF", (0.02, 0.05, 0.1))
    monkeypatch.setattr(time, "sleep", waited.append)
    monkeypatch.setattr(os, "replace", held)
    disk.write_sealed(tmp_path / "abcd", b"content")
    assert (tmp_path / "abcd").read_bytes() == b"content"
    assert waited == [0.02, 0.05]


def test_folder_flush_that_the_system_lacks_is_no_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A share that cannot flush a folder still takes a file."""
    fsync = os.fsync

    def no_folders(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, "Invalid argument")
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", no_folders)
    disk.write_sealed(tmp_path / "ab" / "abcd", b"content")
    assert (tmp_path / "ab" / "abcd").read_bytes() == b"content"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_reading_refuses_what_is_no_plain_file(tmp_path: Path) -> None:
    """A folder, a pipe and a file over the limit are refused, and a pipe does not hang."""
    (tmp_path / "large").write_bytes(b"12345")
    os.mkfifo(tmp_path / "pipe")
    for name in ("large", "pipe", "."):
        with pytest.raises(OSError, match=r"more than 4|regular"):
            disk.read_file(tmp_path / name, 4)


@pytest.mark.parametrize("takes", [1, 4, 1000])
def test_a_file_that_reads_in_pieces_or_grows_is_read_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, takes: int
) -> None:
    """A share hands out what it likes at a time; bytes that come late count against the limit."""
    read, path = os.read, tmp_path / "abcd"
    path.write_bytes(b"0123456789")
    monkeypatch.setattr(os, "read", lambda fd, size: read(fd, min(size, takes)))
    assert disk.read_file(path, 10) == b"0123456789"
    fstat = os.fstat

    def grow(descriptor: int) -> os.stat_result:
        status = fstat(descriptor)
        with path.open("ab") as file:
            file.write(b"more")
        return status

    monkeypatch.setattr(os, "fstat", grow)
    with pytest.raises(disk.UnfitFileError, match="more than 10"):
        disk.read_file(path, 10)


@pytest.mark.parametrize("size", [0, 1 << 16, (1 << 16) + 1, 200_000])
def test_a_file_is_read_quickly_whatever_its_size(tmp_path: Path, size: int) -> None:
    """Whole; of one over the limit no more than about that."""
    data = bytes(range(256)) * (size // 256 + 1)
    (tmp_path / "abcd").write_bytes(data[:size])
    assert disk.read_quickly(str(tmp_path / "abcd"), 1 << 20) == data[:size]
    assert len(disk.read_quickly(str(tmp_path / "abcd"), 1)) <= 2 << 16


def test_the_systems_words_have_its_name_for_the_error() -> None:
    """If it gave a number."""
    assert disk.words(OSError(errno.ENOENT, "No such file")) == "No such file (ENOENT)"
    assert disk.words(OSError("pulled out")) == "pulled out"


def test_an_export_is_written_whole(tmp_path: Path) -> None:
    """The file holds the bytes, may be written again by the user, and nothing stays next to it."""
    disk.write_export(tmp_path / "grebe.hex", b":00000001FF\n")
    assert (tmp_path / "grebe.hex").read_bytes() == b":00000001FF\n"
    assert os.access(tmp_path / "grebe.hex", os.W_OK)
    assert [file.name for file in tmp_path.iterdir()] == ["grebe.hex"]


@pytest.mark.parametrize("links", [True, False], ids=["with links", "without links"])
def test_an_export_never_replaces_unasked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """A name that exists is refused and stays; with `replace` it is replaced whole."""
    if not links:
        monkeypatch.setattr(os, "link", refuse_links)
    path = tmp_path / "grebe.hex"
    disk.write_export(path, b"old")
    with pytest.raises(ParambakError) as caught:
        disk.write_export(path, b"new")
    assert caught.value.code == "vault-export-exists"
    assert path.read_bytes() == b"old"
    disk.write_export(path, b"new", replace=True)
    assert path.read_bytes() == b"new"
    assert [file.name for file in tmp_path.iterdir()] == ["grebe.hex"]


@pytest.mark.parametrize("links", [True, False], ids=["with links", "without links"])
def test_an_export_that_appears_meanwhile_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """A file of that name that comes while ours is written stays as it is."""
    if not links:
        monkeypatch.setattr(os, "link", refuse_links)
    path, fsync = tmp_path / "grebe.hex", os.fsync

    def appear(descriptor: int) -> None:
        path.write_bytes(b"another's")
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", appear)
    with pytest.raises(ParambakError) as caught:
        disk.write_export(path, b"ours")
    assert caught.value.code == "vault-export-exists"
    assert path.read_bytes() == b"another's"
    assert [file.name for file in tmp_path.iterdir()] == ["grebe.hex"]


def refuse_links(_source: Path, _target: Path) -> None:
    """Behave as a file system without links, such as FAT."""
    raise PermissionError(errno.EPERM, "Operation not permitted")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_an_export_goes_only_where_a_file_can(tmp_path: Path) -> None:
    """A folder's name, a device, a missing folder and an over-long name are refused."""
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    for name in ("folder", "pipe", "missing/grebe.hex", "x" * 300):
        with pytest.raises(ParambakError) as caught:
            disk.write_export(tmp_path / name, b"data", replace=True)
        assert caught.value.code == "vault-export-unfit"
        assert caught.value.file == str(tmp_path / name)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["folder", "pipe"]


@pytest.mark.parametrize(
    ("number", "code"),
    [
        (errno.ENOSPC, "vault-disk-full"),
        (errno.EACCES, "vault-unwritable"),
        (errno.EROFS, "vault-unwritable"),
        (errno.EIO, "vault-write-failed"),
    ],
)
def test_the_system_s_words_are_passed_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, code: str
) -> None:
    """Each kind of failed write has its code, the file and the system's message."""

    def fail(_descriptor: int) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(ParambakError) as caught:
        disk.write_sealed(tmp_path / "abcd", b"content")
    assert caught.value.code == code
    assert caught.value.file == str(tmp_path / "abcd")
    assert os.strerror(number) in str(caught.value.found)
    assert list(tmp_path.iterdir()) == []
