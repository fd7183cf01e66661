"""A dump format that nobody has written is taken, shown, archived and written by the commands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from msgspec.structs import replace

from parambak.dumps import registry
from tests.cli.invented import WHERE
from tests.dumps.test_invented_format import PLAIN

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

BYTES = bytes(range(64, 128))


@pytest.fixture(autouse=True)
def _invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give the program one format more."""
    plain = replace(PLAIN, widths=(8, 16))
    monkeypatch.setattr(registry, "FORMATS", {"plain": plain, **registry.FORMATS})


def test_it_is_inspected_under_its_label(ship: Ship) -> None:
    """By its content or as declared; its own judge is asked."""
    ship.write("a.dump", b"PLAIN" + BYTES)
    assert "Plain dump" in ship.run("inspect", "a.dump").out
    result = ship.run("inspect", "a.dump", "--format", "plain", "--second-opinion")
    assert "somebody 1.0 agrees" in result.out


def test_it_is_archived_exported_and_shown_as_a_choice(ship: Ship) -> None:
    """`archive` and `export` take its name; `--help` shows it; another word is refused."""
    ship.write("a.dump", b"PLAIN" + BYTES)
    ship.run("archive", "a.dump", *WHERE, "--format", "plain", "--by", "J. Doe")
    ship.run("export", "/".join(WHERE[1::2]), "--as", "plain", "--out", "b.dump")
    assert (ship.folder / "b.dump").read_bytes() == b"PLAIN" + BYTES
    assert "plain" in ship.run("archive", "--help").out
    assert "[8|16|20|24|32]" in ship.run("export", "--help").out
    refused = ship.run("inspect", "a.dump", "--format", "elf")
    assert (refused.code, "plain" in refused.err) == (2, True)
