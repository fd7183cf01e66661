"""Files that a user names: what is read, what is refused, and what a name may mean."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from parambak.errors import ParambakError
from parambak.vault.files.file_system import on_one_disk
from parambak.vault.files.given import (
    folder_around,
    names_a_file,
    read_beside,
    read_given,
    refuse_within,
)


def refusal(path: Path | str, limit: int = 10) -> ParambakError:
    """Return what reading the file raises."""
    with pytest.raises(ParambakError) as caught:
        read_given(str(path), limit)
    assert caught.value.file == str(path)
    return caught.value


def test_a_file_is_read_with_what_tells_it_from_others(tmp_path: Path) -> None:
    """Its name, time, inode and whole path, links followed; as long as the limit at most."""
    path = tmp_path / "R1.BIN"
    path.write_bytes(b"0123456789")
    os.utime(path, ns=(5, 7))
    (tmp_path / "link").symlink_to(path)
    given = read_given(str(tmp_path / "link"), 10)
    status = path.stat()
    assert (given.name, given.data, given.modified) == ("link", b"0123456789", 7)
    assert (given.inode, given.path) == (f"{status.st_dev}:{status.st_ino}", str(path.resolve()))


def test_what_is_no_file_of_that_size_is_refused(tmp_path: Path) -> None:
    """Nothing, a folder, a pipe, a longer file: each is stated as what it is."""
    (tmp_path / "long").write_bytes(b"01234567890")
    os.mkfifo(tmp_path / "pipe")
    errors = [refusal(tmp_path / name) for name in ("none", ".", "pipe", "long")]
    assert [error.found for error in errors] == ["nothing", "a folder", "a pipe", "11 bytes"]
    assert refusal("a\0b").found


def test_a_file_that_changes_while_it_is_read_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Longer or shorter than it was a moment ago: another program is still writing it."""
    path = tmp_path / "R1.BIN"
    path.write_bytes(b"012345")
    stat = os.stat
    before = stat(path)
    for data in (b"01234", b"01234567"):
        path.write_bytes(data)
        monkeypatch.setattr(os, "stat", lambda name: before if name == str(path) else stat(name))
        error = refusal(path)
        monkeypatch.undo()
        assert (error.expected, error.found) == ("6 bytes, unchanged", f"{len(data)} bytes")


def test_a_file_that_cannot_be_read_is_told_with_the_systems_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether or not it gives a number."""
    path = tmp_path / "R1.BIN"
    path.write_bytes(b"0")
    for error in (OSError(13, "Permission denied"), OSError("Permission denied")):

        def fail(*_: object, error: OSError = error) -> None:
            raise error

        monkeypatch.setattr(Path, "open", fail)
        assert refusal(path).found == "Permission denied"


def test_a_file_beside_another_stays_in_its_folder(tmp_path: Path) -> None:
    """In it or below; a way out of it is no file."""
    (tmp_path / "in").mkdir()
    for name in ("in/part.toml", "out.toml"):
        (tmp_path / name).write_bytes(b"x")
    layout = str(tmp_path / "in" / "layout.toml")
    assert read_beside(layout, "part.toml", 10) == b"x"
    with pytest.raises(ParambakError) as caught:
        read_beside(layout, "../out.toml", 10)
    assert caught.value.found == "a path that leaves it"


@pytest.mark.parametrize(
    ("text", "file"),
    [
        ("grebe/port/U1@2", False),
        ("grebe@latest", False),
        ("./grebe@2", True),
        ("../grebe/port@2", True),
        (".\\grebe@2", True),
        ("..\\grebe@2", True),
        ("/grebe@2", True),
        ("~/grebe@2", True),
        ("R1.BIN", True),
        ("there/R1@2", True),
    ],
)
def test_what_names_a_file_and_what_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, file: bool
) -> None:
    """A path that begins as one, a file that is there, and what no copy is named by."""
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "R1@2").write_bytes(b"")
    monkeypatch.chdir(tmp_path)
    assert names_a_file(text) is file


def test_folders_around_and_within(tmp_path: Path) -> None:
    """Which folder is missing, and what would lie in the vault."""
    assert folder_around(tmp_path / "new") is None
    assert folder_around(tmp_path / "none" / "new") == tmp_path / "none"
    refuse_within(str(tmp_path / "file"), tmp_path / "vault")
    with pytest.raises(ParambakError):
        refuse_within(str(tmp_path / "vault" / "file"), tmp_path / "vault")


def test_two_folders_of_one_disk_are_known(tmp_path: Path) -> None:
    """The system's own files are on another."""
    (tmp_path / "below").mkdir()
    assert on_one_disk(tmp_path, tmp_path / "below")
    if Path("/proc/self").exists():
        assert not on_one_disk(tmp_path, Path("/proc"))
