"""Bad input: exit 2, what, where, expected, found, what to do; the vault as it was."""

from __future__ import annotations

import os
import random
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import LAYOUT, WHERE, archive_two, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

GOOD = dump()
PACK = Path(__file__).parents[2] / "fixtures" / "packs" / "grebe.zip"
OTHER_SIZE = LAYOUT.replace(b"2048", b"8192")
BAD_SUM = GOOD[:41] + (b"00" if GOOD[41:43] != b"00" else b"01") + GOOD[43:]


def refused(ship: Ship, code: str, *words: str) -> None:
    """Insist on exit 2, on that code with every part of the message, and on an untouched vault."""
    before = ship.tree()
    result = ship.answer(*words)
    error = result.document["error"]
    assert (result.code, error["code"]) == (2, code)
    assert error["text"]
    assert error["next"]
    assert error["expected"]
    assert error["found"]
    assert ship.tree() == before
    page = ship.run(*words)
    assert page.code == 2
    assert page.out == ""
    assert "Traceback" not in page.err
    assert error["code"] in page.err


@pytest.mark.parametrize(
    ("defect", "content", "code"),
    [
        ("an empty file", b"", "hex-empty"),
        ("a dump cut in half", GOOD[: len(GOOD) // 2], "hex-cut-short"),
        ("a dump cut at a line's end", b"\n".join(GOOD.splitlines()[:-1]) + b"\n", "hex-no-end"),
        ("a wrong checksum", BAD_SUM, "hex-checksum"),
    ],
)
def test_a_damaged_dump_is_refused(ship: Ship, defect: str, content: bytes, code: str) -> None:
    """What is not whole never reaches the vault."""
    del defect
    archive_two(ship)
    ship.write("bad.hex", content)
    refused(ship, code, "archive", "bad.hex", *WHERE)


def test_a_good_dump_beside_a_damaged_one_is_not_taken_in_either(ship: Ship) -> None:
    """One call is answered whole or not at all."""
    archive_two(ship)
    ship.write("bad.hex", GOOD[:-13])
    ship.write("good.hex", GOOD, second=3)
    refused(ship, "hex-no-end", "archive", "good.hex", "bad.hex", *WHERE)


def test_a_folder_and_a_missing_file_are_refused(ship: Ship) -> None:
    """Only a regular file can be a dump."""
    archive_two(ship)
    (ship.folder / "folder.hex").mkdir()
    refused(ship, "file-kind", "archive", "folder.hex", *WHERE)
    refused(ship, "file-absent", "archive", "nothing.hex", *WHERE)


@pytest.mark.skipif(sys.platform == "win32", reason="no named pipes in the file system")
def test_a_pipe_is_refused_without_waiting_for_it(ship: Ship) -> None:
    """A pipe that nobody writes to does not hold the program up."""
    archive_two(ship)
    os.mkfifo(ship.folder / "pipe.hex")  # type: ignore[attr-defined,unused-ignore]
    refused(ship, "file-kind", "inspect", "pipe.hex")


def test_a_layout_for_another_size_of_memory_is_refused(ship: Ship) -> None:
    """With the chip known, and with the dump's own size alone."""
    archive_two(ship)
    ship.write("other.toml", OTHER_SIZE)
    ship.write("a.hex", GOOD, second=7)
    refused(ship, "layout-other-memory", "archive", "a.hex", *WHERE, "--layout", "other.toml")
    refused(
        ship, "layout-other-memory", "decode", "grebe/port-thruster/U12", "--layout", "other.toml"
    )


def test_a_raw_dump_is_held_to_the_size_that_the_position_is_known_to_have(ship: Ship) -> None:
    """The layout named at the first read still judges a raw dump given without it."""
    archive_two(ship)
    ship.write("short.bin", random.Random(9).randbytes(1000))
    refused(ship, "raw-size", "archive", "short.bin", *WHERE)


@pytest.mark.parametrize(
    ("where", "code"),
    [
        ("heron/port-thruster/U12", "where-vessel"),
        ("grebe/port-truster/U12", "where-unit"),
        ("grebe/port-thruster/U13", "where-position"),
        ("grebe/card:X1/U12", "where-card"),
        ("grebe//U12", "where-shape"),
        ("grebe/port-thruster/U12@2001-01-01", "copy-none"),
        ("grebe/port-thruster/U12@9", "copy-none"),
        ("grebe/port-thruster/U12@yesterday", "copy-shape"),
        ("grebe/port-thruster/U12@00000000", "copy-none"),
    ],
)
def test_an_unknown_where_is_refused_with_the_nearest_names(
    ship: Ship, where: str, code: str
) -> None:
    """Exit 2 with what is there instead."""
    archive_two(ship)
    refused(ship, code, "decode", where)


def test_a_vault_that_is_not_there_is_refused_and_not_made(ship: Ship) -> None:
    """Only `archive` and `visit open` make a vault."""
    for words in (
        ("catalogue",),
        ("recheck",),
        ("swap", "check", "grebe/port-thruster/U12"),
        ("visit", "close"),
        ("correct", "grebe", "--imo", "1234567"),
    ):
        result = ship.answer(*words)
        assert (result.code, result.document["error"]["code"]) == (2, "vault-absent")
    assert not ship.vault.exists()


def test_a_refused_first_archive_leaves_no_vault_behind(ship: Ship) -> None:
    """What is refused on the way makes nothing, not even an empty vault."""
    ship.write("a.hex", GOOD)
    ship.write("layout.toml", LAYOUT)
    words = ("archive", "a.hex", *WHERE, "--layout", "layout.toml", "--chip", "28C64")
    result = ship.answer(*words)
    assert (result.code, result.document["error"]["code"]) == (2, "layout-chip-differs")
    sums = ship.answer("archive", "a.hex", *WHERE, "--reader-sum", "0000")
    assert (sums.code, sums.document["error"]["code"]) == (2, "dump-reader-sum")
    assert not ship.vault.exists()


def test_a_folder_that_is_no_vault_is_left_alone(ship: Ship) -> None:
    """A folder with other files in it never becomes a vault."""
    ship.vault.mkdir()
    (ship.vault / "holiday.jpg").write_bytes(b"not ours")
    ship.write("a.hex", GOOD)
    result = ship.answer("archive", "a.hex", *WHERE)
    assert (result.code, result.document["error"]["code"]) == (2, "vault-not-a-vault")
    assert [path.name for path in ship.vault.iterdir()] == ["holiday.jpg"]


@pytest.mark.parametrize(
    ("vessel", "code"),
    [
        ("greebe", "name-vessel-near"),
        ("gerbe", "name-vessel-near"),
        ("gre-be", "name-vessel-near"),
        ("../up", "name-shape"),
        ("CON:", "name-shape"),
        ("x" * 10_000, "name-shape"),
        ("gre\u202ebe", "name-shape"),
    ],
)
def test_a_vessels_name_that_is_near_or_none_is_refused(ship: Ship, vessel: str, code: str) -> None:
    """A slip of the finger never makes a second ship."""
    archive_two(ship)
    ship.write("c.hex", GOOD, second=4)
    words = ("--vessel", vessel, "--unit", "port-thruster", "--position", "U12")
    refused(ship, code, "archive", "c.hex", *words)


def test_a_unit_that_differs_by_punctuation_is_refused(ship: Ship) -> None:
    """`port.thruster` next to `port-thruster` is a slip."""
    archive_two(ship)
    words = ("--vessel", "grebe", "--unit", "port.thruster", "--position", "U12")
    refused(ship, "name-near", "archive", "a.hex", *words)


def test_a_wrong_call_is_one_json_document_too(ship: Ship) -> None:
    """An unknown option or command is exit 2 with the code `call`."""
    for words in (("archive", "--nonsense"), ("nonsense",), ("swap",), ("inspect",)):
        result = ship.answer(*words)
        assert (result.code, result.document["error"]["code"]) == (2, "call")
        assert result.document["error"]["next"].startswith("Run `parambak")


def test_hostile_text_never_reaches_the_terminal_as_it_is(ship: Ship) -> None:
    """Control and bidirectional characters of a remark or a file name are spelled out."""
    archive_two(ship)
    ship.run("correct", "grebe/port-thruster", "--display-name", "a\x1b[31mred\u202e")
    ship.write("c\x1b[31m.hex" if sys.platform != "win32" else "c.hex", GOOD, second=4)
    name = next(path.name for path in ship.folder.glob("c*.hex"))
    result = ship.run("inspect", name)
    assert "\x1b" not in result.out


def test_output_in_a_pipe_is_plain_and_80_columns_wide(ship: Ship) -> None:
    """No colour codes, no line wider than 80, no trailing spaces."""
    archive_two(ship)
    for words in (
        ("catalogue",),
        ("decode", "grebe/port-thruster/U12"),
        ("swap", "check", "grebe/port-thruster/U12"),
        ("inspect", "a.hex", "b.hex"),
        ("--help",),
        ("archive", "--help"),
    ):
        out = ship.run(*words).out
        assert "\x1b" not in out
        assert max(len(line) for line in out.splitlines()) <= 80
        assert all(line == line.rstrip() for line in out.splitlines())
    legacy = ship.run("catalogue", PYTHONIOENCODING="cp1252")
    assert legacy.code == 0


@pytest.mark.parametrize(
    ("option", "code"),
    [
        ("--layout", "file-absent"),
        ("--chip", "chip-unknown"),
        ("--profile", "file-absent"),
        ("--read-on", "correct-date"),
    ],
)
def test_an_option_given_empty_is_not_an_option_left_out(
    ship: Ship, option: str, code: str
) -> None:
    """A script whose variable is empty must not get a copy that was judged without it."""
    archive_two(ship)
    refused(ship, code, "archive", "a.hex", *WHERE, option, "")


@pytest.mark.parametrize(
    "words",
    [
        ("archive", "a.hex", *WHERE),
        ("visit", "open", "grebe", "--by", "A. Person", "--new-vessel"),
        ("unpack", "grebe.zip"),
    ],
)
def test_no_vault_is_made_at_the_path_of_a_stick_that_is_not_there(
    ship: Ship, words: tuple[str, ...]
) -> None:
    """Its mount point is gone with it: nothing is made, and the stick is asked for."""
    ship.write("a.hex", GOOD)
    shutil.copyfile(PACK, ship.folder / "grebe.zip")
    away = ship.folder / "media" / "STICK"
    words = ("--vault", str(away / "vault"), *words)
    result = ship.answer(*words)
    assert result.code == 2
    assert result.document["error"]["code"] == "vault-no-folder"
    assert str(away) in result.document["error"]["found"]
    assert not (ship.folder / "media").exists()
    away.mkdir(parents=True)
    assert ship.answer(*words).code in {0, 1}
    assert (away / "vault" / "vault.toml").exists()
