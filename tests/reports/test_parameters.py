"""Decoded parameters as they are printed: groups as tables, bounded, nothing lost unsaid."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image
from parambak.reports import parameters as page
from parambak.reports.parameters import parameters

if TYPE_CHECKING:
    import pytest

HEAD = b'[layout]\ntitle = "invented"\nmemory = 256\nbyte-order = "big"\n'
NESTED = (
    HEAD
    + b"""
[[group]]
name = "pump"
at = 0x10
count = 2
row-size = 16
rows = ["fore", "aft"]
  [[group.field]]
  name = "delay"
  at = 0
  type = "u8"
  unit = "s"
  high = 9
  [[group.group]]
  name = "stage"
  at = 4
  count = 3
  row-size = 2
    [[group.group.field]]
    name = "limit"
    at = 0
    type = "u8"
    low-from = "delay"
    running = true
"""
)


def test_a_group_is_a_table_and_one_inside_it_another() -> None:
    """A row for each row; limits and remarks that hold for all stand in the head."""
    memory = bytearray(256)
    memory[0x10], memory[0x20], memory[0x24] = 3, 12, 13
    found = parameters(decode(load(NESTED, name="l.toml"), Image.of(bytes(memory))))
    assert found is not None
    outer, inner = found.groups
    assert (outer.name, outer.named) == ("pump", True)
    assert outer.columns == (page.Column("delay", "s", "to 9", ""),)
    assert [(r.number, r.name, r.at) for r in outer.rows] == [
        ("1", "fore", "0x0010"),
        ("2", "aft", "0x0020"),
    ]
    assert [cell.outside for row in outer.rows for cell in row.cells] == [False, True]
    assert inner.name == "pump.stage"
    assert inner.columns == (page.Column("limit", None, "from delay", "running"),)
    assert [r.number for r in inner.rows] == ["1.1 to 1.3", "2.1", "2.2", "2.3"]
    assert inner.rows[1].cells[0].value == "13"
    assert inner.size == 6
    assert found.outside[0] == "pump[1].stage[1].limit 0 (allowed from 3)"
    assert "pump[2].delay 12 s (allowed to 9)" in found.outside


def test_rows_that_hold_the_same_are_printed_as_one() -> None:
    """Three or more behind each other; nothing is lost, and the count stays that of the rows."""
    text = HEAD + b'[[group]]\nname = "g"\nat = 0\ncount = 8\nrow-size = 1\n'
    text += b'[[group.field]]\nname = "f"\nat = 0\ntype = "u8"\n'
    found = parameters(decode(load(text, name="l.toml"), Image.of(b"\1\1\2\3\3\3\3\1")))
    assert found is not None
    (group,) = found.groups
    assert group.size == 8
    assert [(r.number, r.at, r.cells[0].value) for r in group.rows] == [
        ("1", "0x0000", "1"),
        ("2", "0x0001", "1"),
        ("3", "0x0002", "2"),
        ("4 to 7", "0x0003", "3"),
        ("8", "0x0007", "1"),
    ]


def test_a_wide_group_is_several_tables() -> None:
    """No more columns than a sheet is wide; every field in one of them."""
    fields = "".join(f'[[group.field]]\nname = "f{n}"\nat = {n}\ntype = "u8"\n' for n in range(13))
    text = HEAD + b'[[group]]\nname = "g"\nat = 0\ncount = 2\nrow-size = 16\n' + fields.encode()
    found = parameters(decode(load(text, name="l.toml"), Image.of(bytes(range(256)))))
    assert found is not None
    assert [len(group.columns) for group in found.groups] == [6, 6, 1]
    values = [cell.value for g in found.groups for row in g.rows for cell in row.cells]
    assert sorted(values, key=int) == [str(n) for n in (*range(13), *range(16, 29))]


def test_a_field_that_is_blank_or_absent_says_so() -> None:
    """What has no value has a word in its place; what is odd about a value stands next to it."""
    text = HEAD + b'[[field]]\nname = "a"\nat = 0\ntype = "u8"\n'
    text += b'[[field]]\nname = "b"\nat = 200\ntype = "u8"\n'
    found = parameters(decode(load(text, name="l.toml"), Image.of(b"\xff" * 8)))
    assert found is not None
    assert [(each.value, each.remarks) for each in found.singles] == [
        ("255", "blank"),
        ("absent", ""),
    ]


def test_more_fields_than_a_page_holds_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """And one of them outside its limits is named all the same."""
    monkeypatch.setattr(page, "MOST_FIELDS", 2)
    text = HEAD + b"".join(
        f'[[field]]\nname = "f{n}"\nat = {n}\ntype = "u8"\nhigh = 3\n'.encode() for n in range(5)
    )
    found = parameters(decode(load(text, name="l.toml"), Image.of(bytes(range(256)))))
    assert found is not None
    assert (len(found.singles), found.more) == (2, 3)
    assert found.outside == ("f4 4 (allowed to 3)",)


def test_without_a_layout_there_is_nothing_to_print() -> None:
    """The page then says so."""
    assert parameters(None) is None
