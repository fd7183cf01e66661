"""Mistakes that the runs in this folder once found, each as small as possible."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.files import disk
from parambak.vault.files.file_system import FORGETTING, forgets_when_renamed, kind_of
from parambak.vault.files.lock import SIGNED, locked
from parambak.vault.locations.stores import FolderStore
from tests.faults import operations, soundness
from tests.faults.commands import begin, call, named, repeating
from tests.faults.disk import Disk, path_of
from tests.faults.test_failing_writes import opened, write_a_read

if TYPE_CHECKING:
    from collections.abc import Callable


@pytest.fixture
def flushed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the list of flushed paths, in order, which grows during the test."""
    paths: list[str] = []

    def note(descriptor: int) -> None:
        paths.append(path_of(descriptor))

    monkeypatch.setattr(os, "fsync", note)
    return paths


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Return a folder with a vault that holds one read."""
    write_a_read(tmp_path / "home", b"1")
    return tmp_path / "home"


def within(root: Path, paths: list[str]) -> set[str]:
    """Return the names within a folder of those of the paths that lie there."""
    return {path.removeprefix(f"{root}/") for path in paths if path.startswith(str(root))}


def test_an_empty_folder_that_stands_is_flushed_in_the_one_above(
    home: Path, flushed: list[str]
) -> None:
    """A writer that was killed between making a folder and its flush left it so."""
    vault = opened(home)
    for first in range(256):
        (vault.root / "objects" / f"{first:02x}").mkdir(exist_ok=True)
    flushed.clear()
    write_a_read(home, b"2")
    assert flushed.count(str(vault.root / "objects")) == 2
    flushed.clear()
    write_a_read(home, b"2")
    assert flushed.count(str(vault.root / "objects")) == 0


def test_an_empty_folder_from_another_hand_need_not_be_flushed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stick's own top folder is in one that this user may not even open."""
    write_a_read(tmp_path / "media")
    shutil.rmtree(tmp_path / "media" / "vault")
    (tmp_path / "media" / "vault").mkdir()
    real = os.open

    def refuse(path: str, flags: int, *rest: int, dir_fd: int | None = None) -> int:
        if os.fspath(path) == str(tmp_path / "media"):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return real(path, flags, *rest, dir_fd=dir_fd)

    monkeypatch.setattr(os, "open", refuse)
    write_a_read(tmp_path / "media")
    assert len(opened(tmp_path / "media").records(None)) == 1


def test_after_a_writer_that_was_stopped_every_folder_is_flushed(
    home: Path, flushed: list[str]
) -> None:
    """Its last record may be there unflushed, and the next is `after` it; once is enough."""
    root = home / "vault"
    folders = {
        f"{sort}/{f.name}" for sort in ("objects", "records") for f in (root / sort).iterdir()
    }
    (root / "lock").write_text("process 1 on a laptop that fell", encoding="utf-8")
    flushed.clear()
    write_a_read(home, b"2")
    assert folders <= within(root, flushed)
    assert {"objects", "records"} <= within(root, flushed)
    assert str(root) in flushed
    assert (root / "lock").read_bytes() == b""
    flushed.clear()
    write_a_read(home, b"3")
    assert not folders <= within(root, flushed)


def _failing_for_records(real: Callable[[Path], None]) -> Callable[[Path], None]:
    def flush(folder: Path) -> None:
        if folder.parent.name == "records":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(folder)

    return flush


def test_a_record_that_could_not_be_taken_away_is_flushed_by_the_next_writer(
    home: Path, flushed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk fails from the flush of the record's folder on: the lock keeps its text."""
    with monkeypatch.context() as patch:
        patch.setattr(disk, "flush_folder", _failing_for_records(disk.flush_folder))
        patch.setattr(disk, "remove", lambda _path: False)
        with pytest.raises(ParambakError):
            write_a_read(home, b"2")
    assert b"process" in (home / "vault" / "lock").read_bytes()
    flushed.clear()
    write_a_read(home, b"3")
    assert {"objects", "records"} <= within(home / "vault", flushed)


def test_the_lock_is_signed_before_anything_is_written(home: Path) -> None:
    """If not even that can be written, nothing is; and its old content stays."""
    lock = home / "vault" / "lock"
    lock.write_bytes(b"process 1".ljust(SIGNED) + b"\n")
    before = soundness.bytes_of(home)
    disk = Disk(lock)
    disk.number, disk.fail_at = errno.ENOSPC, 1
    with disk.in_place(), pytest.raises(ParambakError) as caught:
        write_a_read(home, b"2")
    assert disk.operations[1:2] == ["lseek file"]
    assert caught.value.code == "vault-disk-full"
    assert lock.read_bytes().startswith(b"process 1 ")
    assert soundness.bytes_of(home) == before


def test_a_lock_that_was_left_is_told_to_its_next_holder(tmp_path: Path) -> None:
    """And it stays so until that one reports that all is proven."""
    lock = tmp_path / "lock"
    with locked(lock, "now") as held:
        assert not held.unproven
        held.unproven = True
    with locked(lock, "now") as held:
        assert held.unproven
    with locked(lock, "now") as held:
        assert held.unproven
        held.unproven = False
    assert lock.read_bytes() == b""


def test_on_fat_a_file_is_flushed_under_its_new_name_too(
    home: Path, flushed: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without it, the new name has no length after a power failure: the read is gone."""
    monkeypatch.setattr(disk, "forgets_when_renamed", lambda _folder: True)
    flushed.clear()
    write_a_read(home, b"2")
    named_ones = [path for path in flushed if not path.endswith(".tmp")]
    placed = [path for path in named_ones if len(path.rpartition("/")[2]) >= 64]
    assert len(placed) == 3
    for path in placed:  # the file, and only then its folder
        assert named_ones[named_ones.index(path) + 1] == path.rpartition("/")[0]


@pytest.mark.parametrize("replace", [True, False])
def test_on_fat_a_pack_is_flushed_under_its_new_name_too(
    tmp_path: Path, flushed: list[str], monkeypatch: pytest.MonkeyPatch, *, replace: bool
) -> None:
    """A file written as a stream is renamed as well; so is one that a location sets aside."""
    monkeypatch.setattr(disk, "forgets_when_renamed", lambda _folder: True)
    with disk.exporting(tmp_path / "grebe.zip", replace=replace) as stream:
        stream.write(b"a pack")
    assert flushed[-2:] == [str(tmp_path / "grebe.zip"), str(tmp_path)]
    FolderStore(tmp_path).rename("grebe.zip", "aside/grebe.zip")
    assert flushed[-3:-1] == [str(tmp_path / "aside/grebe.zip"), str(tmp_path / "aside")]


def test_fat_is_known_by_what_is_mounted() -> None:
    """By device, for any name of the folder; an unknown device is none of them."""
    mounts = (
        b"22 1 254:0 / / rw - ext4 /dev/vda rw\n"
        b"30 22 8:17 / /media/A\\040STICK rw,nosuid shared:9 - vfat /dev/sdb1 rw\n"
    )
    assert kind_of(mounts, "8:17") in FORGETTING
    assert kind_of(mounts, "254:0") == "ext4"
    assert kind_of(mounts, "8:1") == ""
    assert not forgets_when_renamed(Path(__file__).parent)


def test_an_empty_vault_toml_is_none(tmp_path: Path) -> None:
    """What FAT may leave of a vault that was being made does not keep it from being made."""
    (tmp_path / "vault").mkdir()
    (tmp_path / "vault" / "vault.toml").write_bytes(b"")
    write_a_read(tmp_path)
    assert len(opened(tmp_path).records(None)) == 1
    record = next((tmp_path / "vault" / "records").rglob("*.json"))
    (tmp_path / "vault" / "vault.toml").chmod(0o644)
    (tmp_path / "vault" / "vault.toml").write_bytes(b"")
    with pytest.raises(ParambakError) as caught:
        write_a_read(tmp_path)  # a folder that was a vault is not made into one again
    assert caught.value.code == "vault-toml-missing"
    assert record.exists()


def test_folders_that_a_failed_write_left_are_no_stranger(tmp_path: Path) -> None:
    """`records` without a file in it does not keep a folder from becoming a vault; a file does."""
    folder = tmp_path / "vault" / "records" / "ab"
    folder.mkdir(parents=True)
    write_a_read(tmp_path)
    other = tmp_path / "other" / "vault" / "records" / "ab"
    other.mkdir(parents=True)
    (other / "some.json").write_bytes(b"{}")
    with pytest.raises(ParambakError) as caught:
        write_a_read(tmp_path / "other")
    assert caught.value.code == "vault-not-a-vault"


@pytest.mark.parametrize(
    ("name", "way", "last"),
    [("export", "EACCES once, reading too", "open to read"), ("swap load-file", "interrupted", "")],
)
def test_no_file_is_left_that_was_refused(tmp_path: Path, name: str, way: str, last: str) -> None:
    """Read back in vain, or interrupted before it was on record: it could be loaded."""
    writes = named(name)
    case = operations.Case(tmp_path, writes)
    how = next(each for each in operations.WAYS if each.name == way)
    steps = case.steps(how)
    tried = steps[-3:] if last else steps[5:]
    for step in tried:
        met, _, wrong = case.try_one(how, step)
        assert met
        assert wrong == []


def test_a_call_that_ends_in_an_exception_is_seen(tmp_path: Path) -> None:
    """The harness itself: what no command may do is not taken for an answer."""
    with repeating(1), pytest.MonkeyPatch.context() as patch:
        folder = begin(tmp_path / "x", "one read")
        # That of the answer first: imported behind the other it would keep that for its own.
        patch.setattr("parambak.answers.recheck.recheck", None)
        patch.setattr("parambak.vault.check.recheck.recheck", None)
        assert call(folder, ("recheck",)).code == -1
