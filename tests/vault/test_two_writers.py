from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import ParambakError
from parambak.vault.check.recheck import recheck
from parambak.vault.files import lock
from tests.vault.home import GREBE

if TYPE_CHECKING:
    from tests.vault.home import Home

WRITER = """
import os, sys
from datetime import datetime, timezone
from pathlib import Path
from parambak.vault.files import lock
from parambak.vault.vault import Vault
os.fsync = lambda descriptor: None
lock.WAIT = 60
lock.STEP = 0.001
root, own, name = map(Path, sys.argv[1:])
for n in range(10):
    vault = Vault.open(root, own=own, clock=lambda: datetime.now(timezone.utc), create=True)
    with vault.writing() as writing:
        image = writing.put(f"{name} {n}".encode())
        writing.add("note", "3fa2c0de3fa2c0de3fa2c0de3fa2c0de", {"n": n}, relies_on=[image])
    vault.close()
"""


def test_two_processes_at_once_write_one_history(home: Home) -> None:
    """Ten records each, into a vault that neither has made: one line, no fork, nothing lost."""
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(home.root), str(home.own / name), name],
            cwd=Path(__file__).parents[2],
            stderr=subprocess.PIPE,
        )
        for name in ("one", "two")
    ]
    for writer in writers:
        _, errors = writer.communicate(timeout=60)
        assert writer.returncode == 0, errors.decode()
    vault = home.open()
    history = vault.records(GREBE)
    assert len(history) == 20
    assert len({stored.record.writer for stored in history}) == 2
    assert [s.record.after for s in history[1:]] == [(s.digest,) for s in history[:-1]]
    assert len(vault.records(None)) == 1
    assert recheck(vault, lambda _done, _of: None).damaged == ()


def test_the_second_writer_is_refused_and_changes_nothing(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one writes, another is refused with that reason, and reading continues."""
    monkeypatch.setattr(lock, "WAIT", 0.05)
    one, two = home.made(), home.open()
    with one.writing() as writing:
        writing.add("note", GREBE, {})
        before = home.files()
        with pytest.raises(ParambakError) as caught, two.writing():
            pass
        assert caught.value.code == "vault-busy"
        assert "process" in str(caught.value.found)
        assert home.files() == before
        assert len(home.open().records(GREBE)) == 1
