"""What the vault has to say is said next to every answer and every error."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from pathlib import Path

    from tests.cli.conftest import Ship

WHERE = ("--vessel", "grebe", "--unit", "port", "--position", "U12", "--chip", "28C16")


@pytest.fixture
def archived(ship: Ship) -> Ship:
    """Return a ship with two copies of one chip on record."""
    for number in (1, 2):
        name = ship.write(f"R{number}.BIN", bytes([number, *range(255)]) * 8, second=number)
        assert ship.run("archive", name, *WHERE, "--by", "A. Person").code == 0
    return ship


def records_of(ship: Ship, text: str) -> list[Path]:
    """Return the files of records that hold a text."""
    return [f for f in ship.vault.glob("records/*/*.json") if text.encode() in f.read_bytes()]


def edit_one(ship: Ship) -> str:
    """Edit the second read's record on the disk; return its name."""
    (file,) = records_of(ship, "R2.BIN")
    file.chmod(0o644)
    file.write_bytes(file.read_bytes().replace(b"R2.BIN", b"R3.BIN"))
    return file.name


@pytest.mark.parametrize(
    "words",
    [
        ("catalogue", "grebe/port"),
        ("diff", "grebe/port/U12", "R2.BIN"),
        ("export", "grebe/port/U12", "--as", "raw", "--out", "OUT.BIN"),
        ("catalogue", "avocet"),
        ("decode", "grebe/port/U12@previous"),
        ("swap", "check", "grebe/port/U13"),
    ],
)
def test_an_edited_record_is_said_beside_answers_and_errors(
    archived: Ship, words: tuple[str, ...]
) -> None:
    """Once, on the error stream, whatever the command answers."""
    name = edit_one(archived)
    result = archived.answer(*words)
    assert result.err.count(name) == 1


def test_a_vessel_that_lost_its_name_is_damage(archived: Ship) -> None:
    """Its first record is gone: exit 3 and the file, for a question and for an archive."""
    named = records_of(archived, '"short":"grebe"')
    named[0].unlink()
    for words in (("catalogue", "grebe"), ("archive", "R1.BIN", *WHERE)):
        result = archived.answer(*words)
        assert result.code == 3
        error = json.loads(result.out)["error"]
        assert (error["code"], named[0].name in error["found"]) == ("where-name-lost", True)
    listed = archived.answer("catalogue")
    assert listed.code == 0
    assert "has lost its name" in listed.err
    assert archived.run("archive", "R1.BIN", *WHERE, "--new-vessel").code == 0


def test_conflicts_are_in_the_catalogues_document(archived: Ship) -> None:
    """Two laptops told another serial number: both stand, for a unit and for the whole."""
    copy = archived.folder / "copy"
    shutil.copytree(archived.vault, copy)
    for vault, serial in (("vault", "S-1"), ("copy", "S-2")):
        words = ("--vault", str(archived.folder / vault), "correct", "grebe/port")
        assert archived.run(*words, "--serial", serial, "--by", "A. Person").code == 0
    for folder in ("objects", "records"):
        shutil.copytree(copy / folder, archived.vault / folder, dirs_exist_ok=True)
    for asked in (("catalogue",), ("catalogue", "grebe/port/U12")):
        (conflict,) = json.loads(archived.answer(*asked).out)["conflicts"]
        assert (conflict["where"], conflict["fact"]) == ("grebe/port", "serial")
        assert sorted(conflict["values"]) == ["S-1", "S-2"]
    assert "Correct it with `parambak correct`" in " ".join(
        archived.run("catalogue", "grebe").out.split()
    )
