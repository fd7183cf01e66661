"""`layout check`, `layout map`, `layout draft`, and what `decode` says of checks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.layouts.coverage import CHARACTERS

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

LAYOUTS = Path(__file__).parents[2] / "shared" / "layouts"
SMALL = b"""
[layout]
title = "invented, for the tests"
memory = 32
byte-order = "big"
[[field]]
name = "armed"
at = 0
type = "u8"
mirror-at = [1, 2]
[[check]]
name = "block sum"
method = "sum-8"
over = [[0, 7]]
at = 8
[[reserved]]
name = "spare"
at = 16
length = 4
must-be-blank = true
"""


def test_map_shows_what_is_covered_and_what_is_not(ship: Ship) -> None:
    """The keys of the contract, and a picture in 80 columns with its legend."""
    ship.write("small.toml", SMALL)
    found = ship.answer("layout", "map", "small.toml").document
    assert (found["covered_bytes"], found["size"]) == (8, 32)
    assert found["gaps"] == [
        {"start": 3, "length": 5},
        {"start": 9, "length": 7},
        {"start": 20, "length": 12},
    ]
    assert found["picture"] == [{"start": 0, "cells": "###.....!.......----............"}]
    assert found["legend"] == dict(CHARACTERS)
    assert found["parts"][0] == {
        "name": "armed",
        "kind": "field",
        "start": 0,
        "length": 1,
        "rows": None,
    }
    page = ship.run("layout", "map", "small.toml")
    assert page.code == 0
    assert "0x0000  ###.....!.......----............" in page.out
    assert "NOT COVERED  0x0003-0x0007, 5 bytes" in page.out
    for character, meaning in CHARACTERS.items():
        assert f"{character}  {meaning}" in page.out


@pytest.mark.parametrize("path", sorted(LAYOUTS.glob("*.toml")), ids=lambda each: each.stem)
def test_the_map_of_every_ready_layout_fits_the_screen(ship: Ship, path: Path) -> None:
    """80 columns; the parts and the gaps come to the same bytes as the count."""
    page = ship.run("layout", "map", str(path))
    assert page.code == 0
    assert max(map(len, page.out.splitlines())) <= 80
    found = ship.answer("layout", "map", str(path)).document
    missing = sum(gap["length"] for gap in found["gaps"])
    assert found["covered_bytes"] + missing == found["size"]


def test_map_of_a_bad_layout_is_refused(ship: Ship) -> None:
    """Exit 2, with file and line; `layout check` lists the mistakes."""
    ship.write("bad.toml", SMALL.replace(b"at = 0\n", b"at = 99\n"))
    result = ship.answer("layout", "map", "bad.toml")
    error = result.document["error"]
    assert (result.code, error["code"], error["file"]) == (2, "layout-address", "bad.toml")


def test_a_mistake_in_an_included_file_names_that_file(ship: Ship) -> None:
    """Line and key are of the file that they are in."""
    ship.write("part.toml", b'[[field]]\nname = "x"\nat = 20\ntype = "u9"\n')
    ship.write("main.toml", b'[layout]\ntitle = "T"\nmemory = 32\ninclude = ["part.toml"]\n')
    (problem,) = ship.answer("layout", "check", "main.toml").document["problems"]
    assert (problem["file"], problem["line"]) == ("part.toml", 4)
    assert "part.toml, line 4" in ship.run("layout", "check", "main.toml").out


def test_a_draft_is_written_once_and_passes_the_check(ship: Ship) -> None:
    """By size or by chip; a file that stands there is left as it is unless told."""
    result = ship.answer("layout", "draft", "--chip", "28c64", "--out", "first.toml")
    assert (result.code, result.document) == (0, {"file": "first.toml", "memory": 8192})
    assert ship.run("layout", "check", "first.toml").code == 0
    text = (ship.folder / "first.toml").read_bytes()
    again = ship.answer("layout", "draft", "--memory", "2048", "--out", "first.toml")
    assert (again.code, again.document["error"]["code"]) == (2, "vault-export-exists")
    assert (ship.folder / "first.toml").read_bytes() == text
    assert (
        ship.run("layout", "draft", "--memory", "2048", "--out", "first.toml", "--replace").code
        == 0
    )
    assert b"memory = 2048" in (ship.folder / "first.toml").read_bytes()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), "draft-size"),
        (("--memory", "8", "--chip", "28C64"), "draft-size"),
        (("--chip", "28C650"), "chip-unknown"),
        (("--memory", "0"), "call"),
        (("--memory", "99999999"), "call"),
    ],
)
def test_a_draft_needs_one_size(ship: Ship, words: tuple[str, ...], code: str) -> None:
    """Neither, both, a part that is not in the table, no memory of that size."""
    result = ship.answer("layout", "draft", *words, "--out", "x.toml")
    assert (result.code, result.document["error"]["code"]) == (2, code)
    assert not (ship.folder / "x.toml").exists()


def test_decode_says_where_a_promise_fails_and_stores_no_value_for_it(ship: Ship) -> None:
    """mirror-at and must-be-blank have a dash where a check has values; the mark is shown."""
    ship.write("small.toml", SMALL)
    memory = bytearray(32)
    memory[:3] = b"\x05\x05\x06"
    memory[8] = 0x10
    memory[16:20] = b"\xff\xff\x00\xff"
    ship.write("a.bin", bytes(memory))
    result = ship.answer("decode", "a.bin", "--layout", "small.toml")
    checks = {each["check"]: each for each in result.document["checks"]}
    assert checks["block sum"]["holds"] is True
    assert checks["armed"]["mark"] == "armed differs between its addresses"
    assert checks["spare"]["mark"] == "the first byte that is not blank is at 0x0012"
    lines = ship.run("decode", "a.bin", "--layout", "small.toml").out.splitlines()
    row = next(line for line in lines if "mirror-at" in line)
    assert row.split()[3:6] == ["-", "-", "NO"]
    assert not any("absent" in line for line in lines)


TURNED = b"""
[layout]
title = "invented, its check's byte order mistaken"
memory = 2048
byte-order = "big"
[[check]]
name = "sum"
method = "sum-16"
over = [[0x0000, 0x00FF]]
at = 0x0100
"""


def test_a_check_that_holds_in_the_other_byte_order_is_the_layouts_mistake(ship: Ship) -> None:
    """Nobody is sent to read the chip again for it."""
    memory = bytearray(range(256)) * 8
    memory[0x0100:0x0102] = (sum(memory[:0x0100]) & 0xFFFF).to_bytes(2, "little")
    ship.write("memory.bin", bytes(memory))
    ship.write("turned.toml", TURNED)
    result = ship.run("decode", "memory.bin", "--layout", "turned.toml")
    assert result.code == 1
    assert "Correct its byte-order" in " ".join(result.out.split())
    assert "Read the chip again" not in result.out
