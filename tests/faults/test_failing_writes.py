"""Each operation of a write fails in turn; the vault stays complete, and reports what happened."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.check.recheck import recheck
from parambak.vault.vault import Vault
from tests.faults.disk import Disk

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/fd").exists(), reason="the stand-in asks /proc which file is meant"
)
ROOT = Path(__file__).parents[2]
VESSEL = "3fa2c0de3fa2c0de3fa2c0de3fa2c0de"
NUMBERS = [errno.ENOSPC, errno.EACCES, errno.EIO]


def now() -> datetime:
    """Return the time at which everything happens here."""
    return datetime(2026, 11, 25, 13, 49, 40, tzinfo=UTC)


def opened(folder: Path, *, create: bool = False) -> Vault:
    """Open the vault within a folder."""
    return Vault.open(folder / "vault", own=folder / "own", clock=now, create=create)


def write_a_read(folder: Path, seed: bytes = b"2") -> None:
    """Write two objects and the record that names them, as taking in one read does."""
    with opened(folder, create=True).writing() as writing:
        image, dump = writing.put(b"image" + seed), writing.put(b"dump" + seed)
        writing.add("note", VESSEL, {"n": seed.decode()}, relies_on=[image, dump])


def files_of(folder: Path) -> dict[str, bytes]:
    """Return the vault's files except the lock: name to bytes."""
    vault = folder / "vault"
    found = [f for f in vault.rglob("*") if f.is_file() and f.name != "lock"]
    return {f.relative_to(vault).as_posix(): f.read_bytes() for f in found}


def folders_of(folder: Path) -> set[str]:
    """Return the vault's folders."""
    vault = folder / "vault"
    return {f.relative_to(vault).as_posix() for f in vault.rglob("*") if f.is_dir()}


def count_of(folder: Path) -> int:
    """Return how many records about the vessel the vault holds, having rechecked it whole."""
    if not (folder / "vault" / "vault.toml").exists():
        return 0
    vault = opened(folder)
    found = recheck(vault, lambda _done, _of: None)
    assert found.damaged == ()
    return len(vault.records(VESSEL))


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flush nothing: what a flush is good for shows only when the power fails."""
    monkeypatch.setattr(os, "fsync", lambda _descriptor: None)


@pytest.fixture
def standing(tmp_path: Path) -> Path:
    """Return a folder with a vault that holds one read."""
    write_a_read(tmp_path / "standing", b"1")
    return tmp_path / "standing"


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    """Return a folder without a vault, of a user who has written elsewhere."""
    write_a_read(tmp_path / "empty", b"1")
    shutil.rmtree(tmp_path / "empty" / "vault")
    return tmp_path / "empty"


def run_all(start: Path, try_one: Callable[[Path, Disk], bool]) -> int:
    """Fail each operation in turn, from a fresh copy each time; return how many there are."""
    for step in range(500):
        folder = start.with_name("try")
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(start, folder)
        disk = Disk(folder / "vault")
        disk.fail_at = step
        if try_one(folder, disk):
            return step
    raise AssertionError("it never ended")


@pytest.mark.parametrize("place", ["standing", "empty"])
@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
@pytest.mark.parametrize("number", NUMBERS, ids=[errno.errorcode[n] for n in NUMBERS])
def test_each_operation_fails(
    request: pytest.FixtureRequest, place: str, number: int, for_ever: bool
) -> None:
    """A read is fully in or not in; a refusal leaves what was there before byte for byte.

    What stays beyond that is at most an object that nothing names, or, if even removing
    fails, a temporary file. If the disk fails only once, not even these, except objects
    whose record had its name before its folder could not be flushed.
    """
    start: Path = request.getfixturevalue(place)
    before = files_of(start)

    def try_one(folder: Path, disk: Disk) -> bool:
        disk.number, disk.for_ever = number, for_ever
        refused = None
        with disk.in_place():
            try:
                write_a_read(folder)
            except ParambakError as error:
                refused = error
        after = files_of(folder)
        assert {name: after[name] for name in before} == before
        records = count_of(folder)
        if refused is None:
            assert records == (2 if before else 1)
        else:
            assert refused.code.startswith("vault-")
            assert refused.found is not None
            # A record whose folder could not be flushed is removed again, if that works.
            unproven_record = for_ever and disk.operations[disk.fail_at] == "fsync folder"
            had = 1 if before else 0
            assert records == had or (unproven_record and records == had + 1)
            if not for_ever:
                extra = set(after) - set(before)
                unproven = {n for n in extra if n.startswith("objects/")}
                # If there was no vault, a complete and empty one may stay.
                assert not before or extra == unproven
                assert not unproven or disk.operations[disk.fail_at] == "fsync folder"
            write_a_read(folder)  # the disk is well again: the same goes through
            assert count_of(folder) == records + 1
            written = {n.rpartition("/")[0] for n in files_of(folder).keys() - after.keys()}
            left = {n.rpartition("/")[0] for n in files_of(folder) if n.endswith(".tmp")}
            assert not left & written, "a write clears its folder of temporary files"
        return disk.fail_at >= len(disk.operations)

    assert run_all(start, try_one) > 20


def test_a_refused_write_leaves_no_folder_behind(standing: Path) -> None:
    """A folder that refuses writes is, after the refusal, exactly as it was."""
    files, folders = files_of(standing), folders_of(standing)
    disk = Disk(standing / "vault")
    disk.number, disk.for_ever = errno.EACCES, True
    for step in (0, 1, 2, 3):
        disk.operations.clear()
        disk.fail_at = step
        with disk.in_place(), pytest.raises(ParambakError) as caught:
            write_a_read(standing)
        assert caught.value.code == "vault-unwritable"
        assert "Permission denied" in str(caught.value.found)
        assert files_of(standing) == files
        assert folders_of(standing) == folders


@pytest.mark.parametrize("size", [1, 3])
def test_short_writes_change_nothing(standing: Path, size: int) -> None:
    """A disk that takes a few bytes at a time gets all of them."""
    disk = Disk(standing / "vault")
    disk.short = size
    with disk.in_place():
        write_a_read(standing)
    assert count_of(standing) == 2


def test_a_read_costs_six_flushes_and_one_for_each_new_folder(standing: Path) -> None:
    """Two objects and a record: file and folder of each, and no flush of the index."""
    disk = Disk(standing)
    before = folders_of(standing)
    with disk.in_place():
        write_a_read(standing)
    new = len(folders_of(standing) - before)
    assert disk.flushes().count("file") == 3
    assert disk.flushes().count("folder") == 3 + new


KILLED_AT_EACH_STEP = """
import os, shutil, sys
from pathlib import Path
from tests.faults.disk import Disk
from tests.faults.test_failing_writes import write_a_read, count_of, files_of
os.fsync = lambda descriptor: None
start = Path(sys.argv[1])
had = 1 if (start / "vault").exists() else 0
before = files_of(start)
for step in range(500):
    folder = start.with_name("try")
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(start, folder)
    child = os.fork()
    if not child:
        disk = Disk(folder / "vault")
        disk.fail_at = step
        disk.act = lambda: os.kill(os.getpid(), 9)
        with disk.in_place():
            write_a_read(folder)
        os._exit(0)
    ended = os.waitpid(child, 0)[1] == 0
    after = files_of(folder)
    assert {name: after[name] for name in before} == before, step
    assert count_of(folder) in (had, had + 1), step
    write_a_read(folder, b"3")
    assert count_of(folder) >= had + 1, step
    if ended:
        assert count_of(folder) == had + 2
        break
print(step)
"""


@pytest.mark.parametrize("place", ["standing", "empty"])
def test_a_kill_at_each_operation_leaves_the_vault_whole(
    request: pytest.FixtureRequest, place: str
) -> None:
    """`kill -9` before each operation: the read is in or not in, and the next write works."""
    start: Path = request.getfixturevalue(place)
    done = subprocess.run(
        [sys.executable, "-c", KILLED_AT_EACH_STEP, str(start)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 20
