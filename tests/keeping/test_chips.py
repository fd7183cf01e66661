from __future__ import annotations

import random
import re
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import SheetRefused
from parambak.keeping.chips import Bus, Chip, Kind, chips

if TYPE_CHECKING:
    from collections.abc import Callable

SHIPPED = (Path(__file__).parents[2] / "shared" / "chips.toml").read_bytes()
ENTRY = """\
[[family]]
kind = "eeprom"
bus = "parallel"
width = 8
blank = 0xFF
source = "its data sheet"
[family.sizes]
28C64 = 8192
"""


def test_an_entry_is_read() -> None:
    """All facts of a part; its key is the name in lower case."""
    known = chips(ENTRY.encode())
    assert dict(known) == {
        "28c64": Chip("28C64", 8192, 8, "eeprom", "parallel", "its data sheet", 255),
    }


def test_a_part_without_an_erased_state_has_no_blank_value() -> None:
    """A RAM holds anything after power-up, so `blank` is left out and None."""
    assert chips(ENTRY.replace("blank = 0xFF\n", "").encode())["28c64"].blank is None


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ("= 8192", "= 0", ">= 1"),
        ("= 8192", "= 16777217", "<= 16777216"),
        ("= 8192", f"= {'9' * 4000}", "sizes"),
        ("= 8192", '= "8192"', "Expected `int`, got `str`"),
        ("= 8192", "= 8192.0", "Expected `int`, got `float`"),
        ("= 8192", "= true", "Expected `int`, got `bool`"),
        ("width = 8", "width = 9", "9"),
        ("blank = 0xFF", "blank = 256", "<= 255"),
        ("blank = 0xFF", "blank = -1", ">= 0"),
        ('kind = "eeprom"', 'kind = "flash drive"', "flash drive"),
        ('bus = "parallel"', 'bus = "tram"', "tram"),
        ('bus = "parallel"\n', "", "missing required field `bus`"),
        ('source = "its data sheet"', 'source = ""', ">= 1"),
        ('source = "its data sheet"\n', "", "missing required field `source`"),
        ("28C64 =", '"28\\u202eC64" =', "regex"),
        ("28C64 =", '"28C64\\n" =', "regex"),
        ("[family.sizes]", "sizes = 8192\n[family.also]", "Expected `entry`, got `int`"),
        ("width = 8", "width = 8\ncolour = 1", "unknown field `colour`"),
        ("width = 8", "width = 8\nbegins = 28", "Expected `str`, got `int`"),
        ("width = 8", 'width = 8\nprinted = "28HC"', "got `str`"),
    ],
)
def test_a_wrong_entry_is_refused(old: str, new: str, found: str) -> None:
    """chips-entry, with the entry's line, its name, and the key and value at fault."""
    text = f"# a table\n\n{ENTRY.replace(old, new)}"
    with pytest.raises(SheetRefused) as refusal:
        chips(text.encode())
    error = refusal.value
    assert error.code == "chips-entry"
    assert error.line == 3
    assert error.found is not None
    assert found in error.found
    assert "28C64" in error.text or "number 1" in error.text


def test_the_line_is_that_of_the_entry() -> None:
    """The second entry's fault is stated with the second entry's line, and its first part."""
    second = ENTRY.replace("28C64", "28C16").replace("width = 8", "width = 7")
    with pytest.raises(SheetRefused) as refusal:
        chips(f"{ENTRY}\n{second}".encode())
    assert refusal.value.line == 10
    assert "28C16" in refusal.value.text


def test_half_a_word_is_refused() -> None:
    """chips-entry: a size that is not whole words of the width."""
    text = ENTRY.replace("width = 8", "width = 16").replace("8192", "8191")
    with pytest.raises(SheetRefused) as refusal:
        chips(text.encode())
    assert (refusal.value.code, refusal.value.found) == ("chips-entry", "size 8191")


def test_one_name_twice_is_refused() -> None:
    """chips-twice, also where only the case differs."""
    with pytest.raises(SheetRefused) as refusal:
        chips((ENTRY + ENTRY.replace("28C64", "28c64")).encode())
    assert (refusal.value.code, refusal.value.line) == ("chips-twice", 9)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (b"", None),
        (b"[chip]\nname = 1\n", None),
        (b"chip = 3\n", None),
        (ENTRY.encode() + b"[[chop]]\n", None),
        (b"a = 1\nb = = 2\n", 2),
        (b"a = 1\na = 2\n", 2),
        (b"a = 1\n\xff\n", 2),
        (b"a = 1\n\0\n", 2),
        (b"a = " + b"[" * 5000, None),
        (b"a = " + b"9" * 5000, None),
        (b"#" * (1 << 20) + b"\n", None),
    ],
)
def test_a_file_that_is_no_table_is_refused(text: bytes, line: int | None) -> None:
    """chips-text, with the line where the reader of TOML tells it."""
    with pytest.raises(SheetRefused) as refusal:
        chips(text)
    assert refusal.value.code == "chips-text"
    assert refusal.value.line == line
    assert len(refusal.value.found or "") <= 200


def test_names_are_kept_as_written_and_found_in_lower_case() -> None:
    """The key is the name in lower case, the name as the trade writes it."""
    chip = chips(SHIPPED)["27c256"]
    assert (chip.name, chip.size) == ("27C256", 32768)


def test_the_shipped_table_is_whole() -> None:
    """150 parts and more, every kind and every bus, each with its source."""
    table = chips(SHIPPED)
    assert len(table) >= 150
    assert {chip.kind for chip in table.values()} == set(get_args(Kind))
    assert {chip.bus for chip in table.values()} == set(get_args(Bus))
    assert all(chip.source for chip in table.values())
    assert sum(chip.kind == "fram" for chip in table.values()) >= 40
    assert sum(chip.bus == "microwire" for chip in table.values()) >= 10


UNLIKE = {"24C65", "24C164", "24C21", "28C17", "28C65", "29F002"}
"""Parts whose number does not state their size."""
KILOBITS: tuple[tuple[str, Callable[[int], float]], ...] = (
    (r"(?:FM)?24CL?(\d+)", float),
    (r"2[45]M(\d+)", lambda number: number * 1024),
    (r"2[789][CF]?(0\d\d)", lambda number: number * 1024 / 10),
    (r"2[789][CF]?(\d+)", float),
    (r"(?:FM)?25(\d\d0)", lambda number: number / 10),
    (r"(?:FM)?25(\d+)", float),
    (r"93C([4-8])[67](?:-8|-16)", lambda number: 2 ** (number - 4)),
    (r"MB85R[CS](\d+)M", lambda number: number * 1024),
    (r"MB85R[CS](\d+)", float),
)
"""Kilobits by the digits of a number; the first rule that fits holds (`formats/chips.md`)."""


def test_a_number_states_its_size() -> None:
    """28C64 is 64 kilobits, 8,192 bytes: worked out from the digits, for each part of a row."""
    stated = {}
    for chip in chips(SHIPPED).values():
        for pattern, kilobits in KILOBITS:
            number = re.fullmatch(pattern, chip.name)
            if number:
                stated[chip.name] = kilobits(int(number[1])) * 1024 / 8
                break
    assert len(stated) >= 100
    sizes = {name: chips(SHIPPED)[name.casefold()].size for name in stated}
    assert {name for name in stated if stated[name] != sizes[name]} == UNLIKE


@pytest.mark.parametrize(
    ("name", "size"),
    [
        ("2716", 2048),
        ("2732", 4096),
        ("2764", 8192),
        ("27C128", 16384),
        ("27C256", 32768),
        ("27C512", 65536),
        ("27C010", 131072),
        ("28C16", 2048),
        ("28C64", 8192),
        ("28C256", 32768),
        ("24C02", 256),
        ("24C16", 2048),
        ("24C64", 8192),
        ("24C256", 32768),
        ("25256", 32768),
        ("93C46-8", 128),
        ("93C46-16", 128),
        ("93C66-8", 512),
        ("93C66-16", 512),
    ],
)
def test_shipped_sizes(name: str, size: int) -> None:
    """27 by the table of EPROM types (encyclopaedia article EPROM), others by their kilobits."""
    assert chips(SHIPPED)[name.casefold()].size == size


def test_one_microwire_part_has_one_size_in_both_widths() -> None:
    """The ORG pin changes the word, not the number of bytes."""
    known = chips(SHIPPED)
    for part in ("93C46", "93C66"):
        by_bytes, by_words = (known[f"{part}-{width}".casefold()] for width in (8, 16))
        assert (by_bytes.width, by_words.width) == (8, 16)
        assert by_bytes.size == by_words.size


@given(st.binary(max_size=200))
def test_no_bytes_escape_as_another_exception(text: bytes) -> None:
    """Whatever the file holds, it is a table or it is refused."""
    with suppress(SheetRefused):
        chips(text)


def test_a_damaged_table_is_a_table_or_refused() -> None:
    """The shipped table with bytes changed at random lets no other exception out."""
    chance = random.Random(20)
    for _ in range(100):
        damaged = bytearray(SHIPPED)
        for _ in range(chance.randrange(1, 5)):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        with suppress(SheetRefused):
            chips(bytes(damaged))
