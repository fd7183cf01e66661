"""Two images field by field: what kind of change each is, and what no field explains."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from parambak.differences.bytes import runs
from parambak.differences.fields import (
    CHECK,
    PARAMETER,
    RUNNING,
    TOLERANCE,
    changes,
    unmapped,
    value_text,
)
from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image, Range

if TYPE_CHECKING:
    from parambak.differences.fields import FieldChange

LAYOUT = load(
    b"""
[layout]
title = "Invented"
memory = 64
byte-order = "big"

[[field]]
name = "ramp"
at = 0x00
type = "u16"
scale = 0.1
unit = "s"
low = 1.0
high = 60.0

[[field]]
name = "mode"
at = 0x02
type = "bits"
bit = 0
width = 2
values = { 0 = "off", 1 = "on" }

[[field]]
name = "reversed"
at = 0x02
type = "flag"
bit = 7

[[field]]
name = "hours"
at = 0x04
type = "u32"
running = true

[[field]]
name = "clock"
at = 0x08
type = "u8"
volatile = true

[[field]]
name = "offset"
at = 0x09
type = "u8"
belongs-to-card = true

[[group]]
name = "channel"
at = 0x10
count = 2
row-size = 4
  [[group.field]]
  name = "limit"
  at = 0
  type = "u16"

[[check]]
name = "sum"
method = "sum-16"
over = [[0x00, 0x03]]
at = 0x20
"""
)


def memory(changed: dict[int, int] | None = None, *, check: bool = True) -> Image:
    """Return a memory of the layout with these bytes; `check` makes its check right."""
    data = bytearray(random.Random(7).randbytes(64))
    data[0:3] = b"\x00\x96\x01"
    if not check:
        data[0x20:0x22] = sum(data[:4]).to_bytes(2, "big")
    for address, value in (changed or {}).items():
        data[address] = value
    if check:
        data[0x20:0x22] = sum(data[:4]).to_bytes(2, "big")
    return Image.of(bytes(data))


def compared(new: Image, old: Image | None = None) -> dict[str, FieldChange]:
    """Return each change by its field's name."""
    before = decode(LAYOUT, old or memory())
    return {change.field: change for change in changes(before, decode(LAYOUT, new))}


def test_nothing_changed_is_no_change() -> None:
    """Not of fields, not of checks."""
    assert compared(memory()) == {}


def test_a_set_point_is_a_parameter_and_its_check_follows() -> None:
    """Values with unit; the check that holds again needs no explanation of its own."""
    found = compared(memory({0x01: 0xC8}))
    assert list(found) == ["ramp", "sum"]
    ramp = found["ramp"]
    assert (ramp.kind, ramp.at, ramp.old, ramp.new, ramp.unit) == (
        PARAMETER,
        0,
        "15.0",
        "20.0",
        "s",
    )
    assert (ramp.explained, ramp.within_limits) == (False, True)
    check = found["sum"]
    assert (check.kind, check.at, check.explained, check.within_limits) == (CHECK, 0x20, True, True)
    total = sum(memory().content[:4])
    assert (check.old, check.new) == (f"{total:04X}", f"{total + 0xC8 - 0x96:04X}")


def test_a_value_outside_its_limits_is_said() -> None:
    """70.0 s, with 60.0 as the maximum."""
    ramp = compared(memory({0x00: 0x02, 0x01: 0xBC}))["ramp"]
    assert (ramp.new, ramp.within_limits) == ("70.0", False)


@pytest.mark.parametrize(("address", "field"), [(0x07, "hours"), (0x08, "clock")])
def test_counters_and_live_fields_are_expected(address: int, field: str) -> None:
    """Declared so, they need no explanation."""
    found = compared(memory({address: memory().content[address] ^ 0x01}))
    assert list(found) == [field]
    assert (found[field].kind, found[field].explained) == (RUNNING, True)


def test_a_stored_check_that_does_not_hold_is_no_consequence() -> None:
    """It changed, and it is wrong: a parameter's change, marked as failing."""
    data = bytearray(memory().content)
    data[0x21] ^= 0x01
    check = compared(Image.of(bytes(data)))["sum"]
    assert (check.kind, check.explained, check.within_limits) == (PARAMETER, False, False)


def test_a_flag_is_told_without_its_neighbour() -> None:
    """Two fields share a byte: only the one whose bits moved changed."""
    assert list(compared(memory({0x02: 0x81}))) == ["reversed", "sum"]
    mode = compared(memory({0x02: 0x00}))
    assert list(mode) == ["mode", "sum"]
    assert (mode["mode"].old, mode["mode"].new) == ("on", "off")


def test_a_row_of_a_group_and_a_field_of_the_card_are_named() -> None:
    """Rows count from 1; what belongs to the card itself is marked."""
    found = compared(memory({0x14: 0x00, 0x09: 0x00}))
    assert list(found) == ["offset", "channel[2].limit"]
    assert found["offset"].belongs_to_card
    assert not found["channel[2].limit"].belongs_to_card


def test_a_side_that_lacks_the_bytes_says_absent() -> None:
    """A field and a check whose bytes one side does not hold."""
    found = compared(memory().part(0x00, 0x12))
    assert found["channel[2].limit"].new == "absent"
    assert (found["sum"].new, found["sum"].kind) == ("absent", PARAMETER)
    back = compared(memory(), memory().part(0x00, 0x12))
    assert back["sum"].old == "absent"


# --- by how much, which limit, what is no news ---

SCALED = load(
    b"""
[layout]
title = "Invented"
memory = 16
byte-order = "big"

[[field]]
name = "trim"
at = 0
type = "s16"
scale = 0.01
unit = "V"
low = -1
high = 5.00
tolerance = 0.05

[[field]]
name = "count"
at = 2
type = "u8"
values = { 0 = "off" }
tolerance = 2

[[field]]
name = "name"
at = 4
type = "text"
length = 4

[[check]]
name = "sum"
method = "sum-8"
over = [[0, 7]]
at = 8
"""
)


def scaled(trim: int = 100, count: int = 7, name: bytes = b"BOW ", total: int = 0) -> Image:
    """Return a memory of that layout; its sum is right unless `total` is added to it."""
    data = trim.to_bytes(2, "big", signed=True) + bytes([count, 0]) + name
    return Image.of(data + bytes([(sum(data) + total) & 0xFF]) + bytes(7))


def one(old: Image, new: Image) -> FieldChange:
    """Return the first change between two such memories: the field's, not the sum's."""
    return changes(decode(SCALED, old), decode(SCALED, new))[0]


@pytest.mark.parametrize(
    ("old", "new", "by", "crossed"),
    [
        (100, 130, "+0.30", None),
        (100, -20, "-1.20", None),
        (100, 501, "+4.01", "above 5.00"),
        (100, -101, "-2.01", "below -1"),
        (501, 600, "+0.99", "still above 5.00"),
        (-101, 500, "+6.01", "back inside"),
    ],
)
def test_a_number_says_by_how_much_and_past_which_limit(
    old: int, new: int, by: str, crossed: str | None
) -> None:
    """The difference keeps the digits of the values; a limit between the two is named."""
    found = one(scaled(old), scaled(new))
    assert (found.kind, found.by, found.crossed) == (PARAMETER, by, crossed)


def test_a_text_has_no_difference() -> None:
    """A named value has none either."""
    assert one(scaled(), scaled(name=b"STRN")).by is None
    named = one(scaled(count=0), scaled(count=1))
    assert (named.old, named.by, named.kind) == ("off", None, PARAMETER)


@pytest.mark.parametrize(("new", "kind"), [(105, TOLERANCE), (95, TOLERANCE), (106, PARAMETER)])
def test_a_change_within_the_tolerance_is_no_news(new: int, kind: str) -> None:
    """Up to and including it, either way."""
    found = one(scaled(100), scaled(new))
    assert (found.kind, found.explained) == (kind, kind == TOLERANCE)


def test_a_limit_crossed_is_news_within_the_tolerance() -> None:
    """5.00 to 5.01: a small step, over the edge."""
    assert one(scaled(500), scaled(501)).kind == PARAMETER


def test_a_check_made_right_again_by_itself_does_not_follow() -> None:
    """Nothing that it is over changed: somebody repaired it."""
    (found,) = changes(decode(SCALED, scaled(total=1)), decode(SCALED, scaled()))
    assert (found.field, found.kind, found.within_limits) == ("sum", PARAMETER, True)


# --- what nothing explains ---


def loose(changed: dict[int, int]) -> list[Range]:
    """Return what no field explains, of these changes."""
    return list(unmapped(LAYOUT, runs(memory(), memory(changed, check=False))))


def flipped(*addresses: int, bits: int = 0xFF) -> dict[int, int]:
    """Return the memory's own bytes at addresses with bits turned."""
    return {at: memory().content[at] ^ bits for at in addresses}


def test_changed_bytes_outside_every_field_are_listed() -> None:
    """Between fields, before and after; a run that reaches into a field is cut there."""
    assert loose(flipped(0x30)) == [Range(0x30, 1)]
    assert loose(flipped(0x00, 0x04, 0x08, 0x10, 0x20)) == []
    assert loose(flipped(*range(0x0E, 0x18))) == [Range(0x0E, 2), Range(0x12, 2), Range(0x16, 2)]
    assert loose(flipped(*range(0x38, 0x40))) == [Range(0x38, 8)]


def test_a_bit_that_no_flag_covers_is_listed() -> None:
    """Of the byte at 0x02 the bits 0, 1 and 7 have a meaning, the others none."""
    assert loose(flipped(0x02, bits=0x83)) == []
    for bit in range(2, 7):
        assert loose(flipped(0x02, bits=1 << bit)) == [Range(0x02, 1)]


def test_bytes_that_one_side_lacks_are_listed_too() -> None:
    """A dump cut short: the stretch outside the fields."""
    found = unmapped(LAYOUT, runs(memory(), memory().part(0x00, 0x3C)))
    assert list(found) == [Range(0x3C, 4)]


def test_a_reserved_area_explains_no_change() -> None:
    """Its meaning is not known: a change in it is listed, unless it is declared to change."""
    layout = load(
        b'[layout]\ntitle = "Invented"\nmemory = 4\n'
        b"[[reserved]]\nat = 0\nlength = 2\n"
        b"[[reserved]]\nat = 2\nlength = 2\nrunning = true\n"
    )
    found = runs(Image.of(bytes(4)), Image.of(bytes([0, 1, 1, 1])))
    assert list(unmapped(layout, found)) == [Range(1, 1)]


def test_a_copy_that_went_off_is_told() -> None:
    """A value kept at three addresses, one of which changed: its promise is not kept."""
    layout = load(
        b'[layout]\ntitle = "Invented"\nmemory = 8\n'
        b'[[field]]\nname = "armed"\nat = 0\ntype = "u8"\nmirror-at = [1, 2]\n'
        b'[[mirrored]]\nname = "block"\nat = 0\nlength = 4\nmirror-at = 4\n'
    )
    data = b"\x05\x05\x05\x00" * 2
    old = decode(layout, Image.of(data))
    (copy,) = changes(old, decode(layout, Image.of(data[:6] + b"\x07" + data[7:])))
    assert (copy.field, copy.old, copy.kind) == ("block", "holds", PARAMETER)
    assert copy.new == "1 byte differs, the first at 0x0002"
    off = b"\x05\x05\x07\x00" * 2
    (armed,) = changes(old, decode(layout, Image.of(off)))
    assert (armed.field, armed.new) == ("armed", "armed differs between its addresses")
    assert not armed.explained
    (back,) = changes(decode(layout, Image.of(off)), old)
    assert (back.new, back.explained) == ("holds", True)


def test_a_flag_beside_bits_that_became_blank_did_not_change() -> None:
    """The whole byte reads FF now, and is marked blank; the flag's own bit is what it was."""
    found = compared(memory({0x02: 0xFF}), memory({0x02: 0x80}))
    assert list(found) == ["mode", "sum"]


@given(st.dictionaries(st.integers(0, 63), st.integers(1, 255), max_size=12))
def test_every_changed_byte_is_in_a_field_a_check_or_in_the_list(turned: dict[int, int]) -> None:
    """Nothing that changed goes unsaid; deepdiff on the decoded trees names the same fields."""
    from deepdiff import DeepDiff

    data = bytearray(memory().content)
    for address, bits in turned.items():
        data[address] ^= bits
    old, new = decode(LAYOUT, memory()), decode(LAYOUT, Image.of(bytes(data)))
    found = {change.field for change in changes(old, new)}
    trees = [
        {each.field: [each.value, each.own] for each in side.fields}
        | {each.check: [each.stored] for each in side.checks}
        for side in (old, new)
    ]
    judge = DeepDiff(*trees, view="tree")
    parts = [part for kind in judge.values() for part in kind]
    assert found == {part.path(output_format="list")[0] for part in parts}
    listed = {
        address
        for each in unmapped(LAYOUT, runs(memory(), Image.of(bytes(data))))
        for address in range(each.start, each.end)
    }
    explained = {0x00, 0x01, *range(0x04, 0x0A), 0x10, 0x11, 0x14, 0x15, 0x20, 0x21}
    for address, bits in turned.items():
        partly = address == 0x02 and not bits & 0x7C
        assert (address in listed) == (address not in explained and not partly)


def test_a_field_without_a_value_or_a_mark_is_unreadable() -> None:
    """Never an empty cell or an older value."""
    field = decode(LAYOUT, memory()).fields[0]
    assert value_text(field) == "15.0"
    assert value_text(replace(field, value=None, mark="absent")) == "absent"
    assert value_text(replace(field, value=None, mark=None)) == "unreadable"


def test_a_check_whose_bytes_are_not_in_the_dump_is_absent() -> None:
    """It states this in place of a value."""
    change = compared(memory().without([Range(0x20, 2)]))["sum"]
    assert (change.new, change.length) == ("absent", 1)
    assert len(change.old) == 4


def test_a_check_is_as_long_as_what_it_stores() -> None:
    """In bytes."""
    assert compared(memory({0x01: 0xC8}))["sum"].length == 2


def test_a_block_whose_second_keeping_is_not_in_the_dump_is_absent() -> None:
    """Nobody knows whether the two are the same."""
    layout = load(
        b'[layout]\ntitle = "Invented"\nmemory = 8\n'
        b'[[mirrored]]\nname = "block"\nat = 0\nlength = 4\nmirror-at = 4\n'
    )
    sides = Image.of(bytes(8)), Image.of(bytes(6))
    (block,) = changes(*(decode(layout, side) for side in sides))
    assert (block.field, block.old, block.new) == ("block", "holds", "absent")
