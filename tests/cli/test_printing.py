"""An answer that cannot be printed, and notes next to a JSON document."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import archive_two, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

FULL = Path("/dev/full")
STARTED_WITHOUT = "import sys; sys.stdout = None; from parambak.cli.main import run; run()"


def into(output: int, ship: Ship, *words: str) -> tuple[int, str]:
    """Run a command that prints into `output`; return its exit code and what it says next to."""
    done = subprocess.run(
        [sys.executable, "-m", "parambak", *words],
        cwd=ship.folder,
        stdout=output,
        stderr=subprocess.PIPE,
        check=False,
        timeout=60,
    )
    return done.returncode, done.stderr.decode()


@pytest.mark.parametrize("extra", [(), ("--json",)])
def test_a_pager_that_is_closed_early(ship: Ship, extra: tuple[str, ...]) -> None:
    """A reader who has seen enough is no fault: no traceback, and no "no" for an answer."""
    ship.write("a.hex", dump())
    reading, writing = os.pipe()
    os.close(reading)
    try:
        assert into(writing, ship, "inspect", "a.hex", *extra) == (2, "")
    finally:
        os.close(writing)


@pytest.mark.skipif(not FULL.exists(), reason="the system has no device that is always full")
@pytest.mark.parametrize("extra", [(), ("--json",)])
def test_an_answer_onto_a_full_disk(ship: Ship, extra: tuple[str, ...]) -> None:
    """A script must not take a full disk for a card that is not loaded correctly."""
    ship.write("a.hex", dump())
    with FULL.open("wb") as full:
        code, beside = into(full.fileno(), ship, "inspect", "a.hex", *extra)
    assert code == 2
    assert "could not be printed" in beside
    assert "Traceback" not in beside


def test_a_program_without_a_console(ship: Ship) -> None:
    """Where there is nothing to print to, the exit code still answers."""
    ship.write("a.hex", dump())
    done = subprocess.run(
        [sys.executable, "-c", STARTED_WITHOUT, "inspect", "a.hex"],
        cwd=ship.folder,
        capture_output=True,
        check=False,
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, b"")


def test_notes_stand_beside_a_json_document(ship: Ship) -> None:
    """A script's user learns too that the vault was edited; the document stays alone."""
    archive_two(ship)
    marker = ship.vault / "vault.toml"
    marker.chmod(0o600)
    marker.write_bytes(marker.read_bytes() + b"# edited\n")
    result = ship.answer("catalogue")
    assert "note: " in result.err
