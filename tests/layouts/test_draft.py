"""A first layout: without mistakes as written, and with all its examples taken in."""

from __future__ import annotations

import re

import pytest
from msgspec.structs import astuple

from parambak.layouts import coverage
from parambak.layouts.coverage import parts
from parambak.layouts.draft import draft
from parambak.layouts.load import check, load

SIZES = [1, 2, 3, 4, 8, 20, 21, 22, 40, 64, 2048, 8192, 65536, 16 * 1024 * 1024]


def taken_in(text: str) -> str:
    """Return a draft without the # before each line of an example."""
    return re.sub(r"^#(?=[^ #\n])", "", text, flags=re.MULTILINE)


@pytest.mark.parametrize("size", SIZES)
def test_a_draft_has_no_mistake_and_explains_nothing(size: int) -> None:
    """For every size of memory."""
    text = draft(size).encode()
    assert check(text) == ()
    layout = load(text)
    assert (layout.memory, coverage.covered_bytes(layout)) == (size, 0)


@pytest.mark.parametrize("size", SIZES)
def test_the_examples_of_a_draft_have_no_mistake(size: int) -> None:
    """Taken in all at once, each lies inside the memory and next to the others."""
    text = taken_in(draft(size)).encode()
    assert check(text) == ()
    assert bool(parts(load(text))) == (size > 2)


def test_a_draft_shows_what_is_written_first() -> None:
    """Text, number, choice, bit, counter, table, reserved bytes and a check; the chip's name."""
    text = draft(8192, "28C64")
    assert "a 28C64" in text
    layout = load(taken_in(text).encode())
    assert {field.type.name for field in layout.fields} == {"text", "u16", "u8", "flag", "u32"}
    assert (len(layout.groups), len(layout.reserved), len(layout.checks)) == (1, 1, 1)
    assert layout.checks[0].over == ((0, 8189),)
    assert max(map(len, text.splitlines())) <= 100


def test_the_parts_of_a_layout() -> None:
    """A group is one part, over all its rows; copies and duplicates are separate."""
    layout = load(
        b'[layout]\ntitle = "T"\nmemory = 64\n'
        b'[[field]]\nname = "a"\nat = 1\ntype = "u8"\nmirror-at = [40]\n'
        b'[[group]]\nname = "row"\nat = 8\ncount = 3\nrow-size = 4\n'
        b'[[group.field]]\nname = "b"\nat = 1\ntype = "u8"\n'
        b'[[check]]\nname = "sum"\nmethod = "sum-8"\nover = [[0, 1]]\nat = 4\n'
        b'[[reserved]]\nname = "spare"\nat = 50\nlength = 2\n'
        b'[[mirrored]]\nname = "block"\nat = 0\nlength = 4\nmirror-at = 20\n'
    )
    assert [astuple(part) for part in parts(layout)] == [
        ("a", "field", 1, 1, None),
        ("sum", "check", 4, 1, None),
        ("row", "group", 9, 9, 3),
        ("block, again", "duplicate", 20, 4, None),
        ("a, again", "field", 40, 1, None),
        ("spare", "reserved", 50, 2, None),
    ]
