from __future__ import annotations

import errno
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.files import lock
from parambak.vault.files.lock import locked

if TYPE_CHECKING:
    from collections.abc import Iterator

HOLDER = """
import sys, time
from pathlib import Path
from parambak.vault.files.lock import locked
with locked(Path(sys.argv[1]), "2026-11-25T13:49:40Z"):
    print("held", flush=True)
    time.sleep(30)
"""


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Return another process, which holds the lock."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path / "lock")],
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[3],
    )
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        yield process
        process.kill()


def test_the_second_writer_is_told_who_holds_it(
    tmp_path: Path, holder: subprocess.Popen[bytes]
) -> None:
    """After a short wait it is refused, with process, computer and time."""
    with pytest.raises(ParambakError) as caught, locked(tmp_path / "lock", "now", wait=0.2):
        pass
    assert caught.value.code == "vault-busy"
    assert caught.value.exit_code == 2
    found = str(caught.value.found)
    assert f"process {holder.pid} on " in found
    assert "since 2026-11-25T13:49:40Z" in found


def test_a_kill_releases_it(tmp_path: Path, holder: subprocess.Popen[bytes]) -> None:
    """No file has to be removed by hand after a crash."""
    holder.kill()
    holder.wait()
    with locked(tmp_path / "lock", "now", wait=0):
        pass


def test_a_writer_waits_for_one_that_ends_soon(
    tmp_path: Path, holder: subprocess.Popen[bytes]
) -> None:
    """The wait is worth something: a holder that ends in it lets the second in."""
    steps: list[float] = []

    def step(seconds: float) -> None:
        steps.append(seconds)
        holder.kill()
        holder.wait()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(time, "sleep", step)
        with locked(tmp_path / "lock", "now", wait=5):
            pass
    assert len(steps) == 1


def test_what_the_file_says_is_made_safe_to_print(tmp_path: Path) -> None:
    """A lock file with control characters in it cannot write on the terminal."""
    path = tmp_path / "lock"
    with locked(path, "now"):
        path.write_bytes(b"\x1b[2Jprocess 1\xff" + b"x" * 3000)
        with pytest.raises(ParambakError) as caught, locked(path, "then", wait=0):
            pass
    found = str(caught.value.found)
    assert found.isprintable()
    assert len(found) < 300


def test_nothing_stays_in_it_afterwards(tmp_path: Path) -> None:
    """Released, the file is empty: a refused command leaves no trace in it."""
    with locked(tmp_path / "lock", "now"):
        text = (tmp_path / "lock").read_text()
        assert text.startswith(f"process {os.getpid()} on ")
        assert text.endswith(" \n")
    assert (tmp_path / "lock").read_bytes() == b""


def test_a_holder_that_does_not_say_who_it_is_is_told_as_such(tmp_path: Path) -> None:
    """Its text was lost, or it is another program."""
    with locked(tmp_path / "lock", "now"):
        (tmp_path / "lock").write_bytes(b"")
        with pytest.raises(ParambakError) as caught, locked(tmp_path / "lock", "then", wait=0):
            pass
    assert caught.value.found == "a process that left no name"


def test_a_lock_that_was_removed_meanwhile_does_not_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lock held on a file that is no longer under that name would let two writers in."""
    path, now = tmp_path / "lock", lock._lock_now
    tries: list[int] = []

    def removed_at_first(descriptor: int) -> bool:
        tries.append(descriptor)
        if len(tries) == 1:
            path.unlink()
        return now(descriptor)

    monkeypatch.setattr(lock, "_lock_now", removed_at_first)
    with locked(path, "now"):
        assert path.exists()
    assert len(tries) == 2


def test_a_file_system_without_locks_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two writers could not be kept separate there, so none may write."""

    def none(_descriptor: int) -> bool:
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr(lock, "_lock_now", none)
    with pytest.raises(ParambakError) as caught, locked(tmp_path / "lock", "now"):
        pass
    assert caught.value.code == "vault-no-lock"


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """Without the folder there is nothing to lock."""
    with pytest.raises(ParambakError) as caught, locked(tmp_path / "none" / "lock", "now"):
        pass
    assert caught.value.code == "vault-write-failed"
