"""`rebuild`: every answer is the same before and after."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from tests.cli.invented import WHERE as POSITION
from tests.cli.invented import archive_two, changed, dump
from tests.vault.home import copied_in

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

WHERE = "grebe/port-thruster/U12"
READ_BACK = ("swap", "read-back", WHERE)
COMMANDS = [
    ("catalogue",),
    ("catalogue", "grebe"),
    ("decode", WHERE),
    ("diff", f"{WHERE}@1", f"{WHERE}@latest"),
    ("export", WHERE, "--as", "raw", "--out", "out.bin", "--replace"),
    ("swap", "check", WHERE),
    ("seal",),
    ("recheck",),
]


@pytest.fixture
def filled(ship: Ship) -> Ship:
    """Return a vault of two copies, with enough records next to for an index on disk."""
    archive_two(ship)
    ship.write("c.hex", dump(changed(0x0023)), second=5)
    assert ship.run("archive", "c.hex", *POSITION).code == 0
    copied_in(ship.vault, 80, vessel="0123456789abcdef" * 2)
    return ship


def answers(ship: Ship) -> list[Any]:
    """Return what every command answers, except the hour."""
    results = [ship.answer(*words) for words in COMMANDS]
    return [(result.code, _without_hour(result.out)) for result in results]


def _without_hour(out: str) -> Any:
    document = json.loads(out)
    for key in ("began", "records", "total", "read"):  # each recheck adds its own record
        document.pop(key, None)
    return document


def test_every_answer_is_the_same(filled: Ship) -> None:
    """Exit codes and JSON of each command that reads, before and after."""
    before = answers(filled)
    assert (filled.vault / "index.sqlite").exists()
    rebuilt = filled.answer("rebuild")
    assert rebuilt.code == 0
    assert rebuilt.document["vessels"] == 2
    assert rebuilt.document["records"] == len(list((filled.vault / "records").rglob("*.json")))
    assert answers(filled) == before


def test_a_foreign_index_is_thrown_away(filled: Ship) -> None:
    """What stood there is gone, whatever it was, and the records are as they were."""
    before = filled.answer("catalogue").document
    (filled.vault / "index.sqlite").write_bytes(b"no database")
    assert filled.answer("rebuild").code == 0
    assert filled.answer("catalogue").document == before
    assert "index" not in filled.run("catalogue").err


def test_a_small_vault_has_none_and_answers_the_same(ship: Ship) -> None:
    """A vault whose records need no index gets one and is none the worse."""
    assert ship.run("visit", "open", "grebe", "--by", "A. Person", "--new-vessel").code == 0
    before = ship.answer("catalogue").document
    page = ship.run("rebuild").out
    assert "2 records" in page
    assert ship.answer("catalogue").document == before


def test_without_a_vault_there_is_no_answer(ship: Ship) -> None:
    """Exit 2, and nothing is made."""
    assert ship.answer("rebuild").code == 2
    assert not ship.vault.exists()


def test_what_was_asked_for_is_said_once(filled: Ship) -> None:
    """No note next to the answer says the same."""
    result = filled.run("rebuild")
    assert result.out.startswith("The index was made again")
    assert result.err == ""
