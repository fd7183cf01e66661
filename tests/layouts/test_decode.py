"""Images read by layouts: what is absent, blank, marked, covered and left unmapped."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.errors import LayoutRefused
from parambak.layouts import coverage
from parambak.layouts.coverage import CHARACTERS, picture
from parambak.layouts.decode import decode, require_fit
from parambak.layouts.load import load
from parambak.memory.image import Block, Image, Range

if TYPE_CHECKING:
    from parambak.layouts.model import Layout

HEAD = '[layout]\ntitle = "T"\nmemory = 32\nbyte-order = "big"\n'
THRUSTER = Path(__file__).parents[2] / "shared" / "layouts" / "thruster.toml"


def made(body: str) -> Layout:
    """Return the layout of a 32-byte memory."""
    return load((HEAD + body).encode())


PAIR = (
    '[[field]]\nname = "a"\nat = 2\ntype = "u16"\nscale = 0.1\nlow = 1\nhigh = 2\n'
    '[[field]]\nname = "b"\nat = 10\ntype = "flag"\nbit = 3\nvolatile = true\n'
    '[[check]]\nname = "c"\nmethod = "sum-8"\nover = [[0, 3]]\nat = 12\n'
    "[[reserved]]\nat = 20\nlength = 4\n"
)


def test_absent_bytes_are_marked_and_never_filled() -> None:
    """A field or check has no value, and shows "absent", if its bytes are not in the image."""
    image = Image.from_blocks([Block(0, bytes(3)), Block(12, b"\0")])
    found = decode(made(PAIR), image)
    assert [(each.raw, each.value, each.mark) for each in found.fields] == [
        (None, None, "absent"),
        (None, None, "absent"),
    ]
    assert (found.checks[0].holds, found.checks[0].computed) == (None, None)
    assert found.checks[0].stored == "00"


def test_parts_of_an_image_decode_like_the_whole() -> None:
    """A sparse image gives the same values if its bytes are present."""
    data = bytes(range(32))
    layout = made(PAIR)
    whole = decode(layout, Image.of(data))
    parts = decode(layout, Image.from_blocks([Block(0, data[:5]), Block(9, data[9:])]))
    assert whole.fields == parts.fields
    assert whole.checks == parts.checks


def test_three_at_a_tenth_is_nought_point_three() -> None:
    """Scaled values are exact decimals, and limits are judged exactly."""
    for raw, value, within in (
        (3, "0.3", False),
        (10, "1.0", True),
        (20, "2.0", True),
        (21, "2.1", False),
    ):
        found = decode(made(PAIR), Image.of(b"\0\0" + raw.to_bytes(2, "big") + bytes(28)))
        assert (found.fields[0].value, found.fields[0].within_limits) == (value, within)


def test_a_falling_scale_and_a_raw_limit() -> None:
    """With a negative scale the limits still bound the value, not the raw number."""
    layout = made(
        '[[field]]\nname = "a"\nat = 0\ntype = "u8"\nscale = -0.5\noffset = 10\nlow = 0\nhigh = 8\n'
    )
    for raw, value, within in (
        (4, "8.0", True),
        (3, "8.5", False),
        (20, "0.0", True),
        (21, "-0.5", False),
    ):
        field = decode(layout, Image.of(bytes([raw]) + bytes(31))).fields[0]
        assert (field.value, field.within_limits) == (value, within)


def test_limits_are_judged_by_the_fraction_not_by_what_is_shown() -> None:
    """A value that rounds to its limit but lies above it is outside."""
    layout = made(
        '[[field]]\nname = "a"\nat = 0\ntype = "u16"\ncurve = [[0, 0], [3000, 1]]\n'
        "decimals = 1\nhigh = 0.5\n"
    )
    for raw, within in ((1500, True), (1501, False)):
        field = decode(layout, Image.of(raw.to_bytes(2, "big") + bytes(30))).fields[0]
        assert (field.value, field.within_limits) == ("0.5", within)


def test_a_half_is_rounded_to_even() -> None:
    """Digits cut by `decimals` are rounded half to even, both whole numbers and floats."""
    keys = "scale = 0.5\ndecimals = 0\n"
    whole = made(f'[[field]]\nname = "a"\nat = 0\ntype = "s8"\n{keys}')
    shown = [
        decode(whole, Image.of(bytes([raw & 0xFF]) + bytes(31))).fields[0].value
        for raw in (1, 2, 3, 5, -1, -3)
    ]
    assert shown == ["0", "1", "2", "2", "0", "-2"]


@pytest.mark.parametrize("name", ["thruster", "towing-winch"])
def test_any_image_decodes(name: str) -> None:
    """With any bytes in the memory, each field is a value or gives the reason why not."""
    layout = load(THRUSTER.with_name(f"{name}.toml").read_bytes())
    maker = random.Random(name)
    for _ in range(20):
        for each in decode(layout, Image.of(maker.randbytes(layout.memory))).fields:
            assert each.value is not None or each.mark is not None


def test_neighbouring_raw_numbers_never_show_alike() -> None:
    """If no decimal is exact, the digits shown still distinguish one raw value from another."""
    layout = made('[[field]]\nname = "a"\nat = 0\ntype = "u16"\ncurve = [[819, 0], [4095, 10]]\n')
    shown = {
        decode(layout, Image.of(raw.to_bytes(2, "big") + bytes(30))).fields[0].value
        for raw in range(800, 4200)
    }
    assert len(shown) == 3400


def test_own_bits_stay_the_same_where_a_neighbour_changes() -> None:
    """`own` holds the field's bits alone, so that another flag's change is not this one's."""
    layout = made(PAIR)
    first, second = (
        decode(layout, Image.of(bytes(10) + bytes([byte]) + bytes(21))).fields[1]
        for byte in (0x08, 0xF8)
    )
    assert first.raw != second.raw
    assert first.own == second.own == b"\x08"


def test_a_limit_from_a_blank_field_is_not_known() -> None:
    """A blank limit is no limit."""
    layout = made(
        '[[field]]\nname = "a"\nat = 0\ntype = "u8"\nhigh-from = "b"\n'
        '[[field]]\nname = "b"\nat = 1\ntype = "u8"\n'
    )
    field = decode(layout, Image.of(b"\x05\xff" + bytes(30))).fields[0]
    assert (field.within_limits, field.high) == (None, None)
    field = decode(layout, Image.of(b"\x05\x04" + bytes(30))).fields[0]
    assert (field.within_limits, field.high) == (False, "4")


def test_limits_in_a_row_are_those_of_the_row() -> None:
    """A limit's name means the field of the same row before one further out."""
    layout = made(
        '[[field]]\nname = "top"\nat = 30\ntype = "u8"\n'
        '[[group]]\nname = "g"\nat = 0\ncount = 2\nrow-size = 2\n'
        '[[group.field]]\nname = "v"\nat = 0\ntype = "u8"\nlow-from = "least"\nhigh-from = "top"\n'
        '[[group.field]]\nname = "least"\nat = 1\ntype = "u8"\n'
    )
    data = bytes([5, 1, 5, 9]) + bytes(26) + bytes([7, 0])
    found = {each.field: each for each in decode(layout, Image.of(data)).fields}
    assert (found["g[1].v"].within_limits, found["g[2].v"].within_limits) == (True, False)
    assert (found["g[2].v"].low, found["g[2].v"].high) == ("9", "7")


def test_a_limit_in_the_row_around_comes_before_one_outside() -> None:
    """Of a table within a table: the row that holds the inner table, then the whole memory."""
    layout = made(
        '[[field]]\nname = "top"\nat = 30\ntype = "u8"\n'
        '[[group]]\nname = "g"\nat = 0\ncount = 2\nrow-size = 4\n'
        '[[group.field]]\nname = "top"\nat = 0\ntype = "u8"\n'
        '[[group.group]]\nname = "step"\nat = 1\ncount = 2\nrow-size = 1\n'
        '[[group.group.field]]\nname = "v"\nat = 0\ntype = "u8"\nhigh-from = "top"\n'
    )
    data = bytes([5, 1, 6, 0, 7, 7, 8, 0]) + bytes(22) + bytes([9, 0])
    found = {each.field: each for each in decode(layout, Image.of(data)).fields}
    limits = [found[f"g[{row}].step[2].v"].high for row in (1, 2)]
    assert limits == ["5", "7"]


def test_copies_that_all_differ_settle_nothing() -> None:
    """If no two addresses agree, the mark states that there is no majority."""
    layout = made('[[field]]\nname = "a"\nat = 0\ntype = "u8"\nmirror-at = [1]\n')
    found = decode(layout, Image.of(b"\x01\x02" + bytes(30)))
    assert "no majority" in str(found.fields[0].mark)
    assert [(each.method, each.holds) for each in found.checks] == [("mirror-at", False)]
    found = decode(layout, Image.of(b"\x01\x01" + bytes(30)))
    assert (found.fields[0].mark, found.checks[0].holds) == (None, True)


@pytest.mark.parametrize("size", [1024, 4096, 256])
def test_a_layout_for_another_size_of_memory_is_refused(size: int) -> None:
    """A dump of a larger chip, or of a whole smaller one, is not decoded by this layout."""
    layout = load(THRUSTER.read_bytes())
    with pytest.raises(LayoutRefused) as refused:
        require_fit(layout, Image.of(bytes(size)))
    assert refused.value.code == "layout-other-memory"
    assert refused.value.expected == "2048 bytes, the memory of the layout"


def test_a_part_of_the_memory_is_no_other_size() -> None:
    """The whole memory, or an image with gaps inside it, fits."""
    layout = load(THRUSTER.read_bytes())
    require_fit(layout, Image.of(bytes(2048)))
    require_fit(layout, Image.of(bytes(1024), start=1024))
    require_fit(layout, Image.of(bytes(2000)))


def test_what_is_covered_and_what_is_not() -> None:
    """Fields, stored checks and reserved areas are covered; the rest are gaps."""
    layout = made(PAIR)
    assert coverage.covered(layout) == (Range(2, 2), Range(10, 1), Range(12, 1), Range(20, 4))
    assert coverage.gaps(layout) == (
        Range(0, 2),
        Range(4, 6),
        Range(11, 1),
        Range(13, 7),
        Range(24, 8),
    )
    assert decode(layout, Image.of(bytes(32))).covered_bytes == 8
    assert coverage.fields_over(layout, 3, 8) == ("a", "b")
    assert [coverage.fields_over(layout, at, 1) for at in (12, 13)] == [("c",), ()]


def test_marks_are_told_bit_by_bit() -> None:
    """A live flag explains its own bit; a reserved area and a spare bit explain nothing."""
    layout = made(PAIR)
    assert coverage.ranges_of(layout, "volatile") == (Range(10, 1),)
    assert coverage.masks(layout, "volatile") == {10: 0x08}
    explained = coverage.explained_bits(layout)
    assert explained[10] == 0x08
    assert explained[2] == 0xFF
    assert explained[20] == 0x00


def test_the_duplicate_of_a_block_is_covered_like_the_block() -> None:
    """What applies to a mirrored block applies to its duplicate."""
    layout = made(PAIR + "[[mirrored]]\nat = 8\nlength = 4\nmirror-at = 28\n")
    assert coverage.masks(layout, "volatile") == {10: 0x08, 30: 0x08}
    assert coverage.fields_over(layout, 30, 1) == ("b",)


def test_the_picture_of_a_memory() -> None:
    """The map has a character for each stretch of equal length, row by row, and a legend."""
    drawn = picture(made(PAIR), columns=16)
    assert [row.cells for row in drawn] == ["..##......~.!...", "....----........"]
    assert [row.start for row in drawn] == [0, 16]
    assert set("".join(row.cells for row in drawn)) <= set(CHARACTERS)
    large = picture(load(THRUSTER.read_bytes()), columns=64)
    assert len(large) * 64 * large[0].bytes_a_cell >= 2048
    assert all(len(row.cells) <= 64 for row in large)


def test_the_plan_is_worked_out_once() -> None:
    """A second decode of the same layout gives the same, from what the first worked out."""
    layout = made(PAIR)
    first = decode(layout, Image.of(bytes(32)))
    plan = layout.__dict__["plan"]
    assert decode(layout, Image.of(bytes(32))) == first
    assert layout.__dict__["plan"] is plan
    assert plan.fields[0].reader.number(b"\0\3") == Fraction(3, 10)


KINDS = (
    ('type = "u16"', "0102"),
    ('type = "s16"\nscale = 0.1\nlow = -3\nhigh = 3', "FFE1"),
    ('type = "u16"\nscale = 0.001\nhigh = 30', "0003"),
    ('type = "u16"\nscale = 100', "0003"),
    ('type = "u16"\nfraction = 4', "0018"),
    ('type = "u16"\ncurve = [[0, 0], [3, 10]]', "0001"),
    ('type = "u16"\nvalues = { 1 = "one" }\nscale = 0.1', "0002"),
    ('type = "u16"\nlow = 5\nhigh = 0xFFFF', "FFFF"),
    ('type = "u8"\nvalues = { 1 = "one" }\nhigh = 1', "02"),
)


@pytest.mark.parametrize(("keys", "raw"), KINDS)
def test_the_quick_way_and_the_general_way_agree(keys: str, raw: str) -> None:
    """A field shows the same from a whole image, from parts, and next to a copy of itself."""
    length = len(raw) // 2
    field = f'[[field]]\nname = "f"\nat = 0\n{keys}\n'
    twice = f"{field}mirror-at = [8]\n"
    data = bytearray(32)
    data[:length] = data[8 : 8 + length] = bytes.fromhex(raw)
    layout = made(field)
    whole = decode(layout, Image.of(bytes(data))).fields[0]
    part = decode(layout, Image.of(bytes(data[:length]))).fields[0]
    copied = decode(made(twice), Image.of(bytes(data))).fields[0]
    assert whole == part
    for name in ("value", "within_limits", "mark", "low", "high", "raw"):
        assert getattr(copied, name) == getattr(whole, name)


@pytest.mark.parametrize(
    ("keys", "mark"),
    [
        ("scale = 0.1", None),
        ('unit = "bar"', None),
        ("curve = [[0, 0], [9, 3]]\ndecimals = 1", None),
        ("low = 0", "value without a name"),
    ],
)
def test_a_word_for_one_special_number_of_a_measured_value(keys: str, mark: str | None) -> None:
    """What measures something is not marked for having no word; what chooses is."""
    layout = made(
        f'[[field]]\nname = "f"\nat = 0\ntype = "s16"\nvalues = {{ -1 = "off" }}\n{keys}\n'
    )
    shown = [
        decode(layout, Image.of(bytes.fromhex(raw) + bytes(30))).fields[0]
        for raw in ("0003", "FFFF")
    ]
    assert [each.mark for each in shown] == [mark, None]
    assert shown[1].value == "off"


def test_a_blank_number_without_its_word_stays_blank() -> None:
    """A measured value that was never written is marked blank, even if another has a name."""
    layout = made(
        '[[field]]\nname = "f"\nat = 0\ntype = "u16"\nscale = 0.1\nvalues = { 1 = "off" }\n'
    )
    assert decode(layout, Image.of(b"\xff" * 32)).fields[0].mark == "blank"


@pytest.mark.parametrize(
    ("stored", "holds", "mark"),
    [("0102", True, None), ("0201", False, "holds in the other byte order"), ("0103", False, None)],
)
def test_a_check_stored_the_other_way_round_says_so(
    stored: str, holds: bool, mark: str | None
) -> None:
    """A failing check whose value is stored with its bytes reversed names the mistake."""
    layout = made('[[check]]\nname = "c"\nmethod = "sum-16"\nover = [[0, 2]]\nat = 30\n')
    data = bytes.fromhex("FF0300") + bytes(27) + bytes.fromhex(stored)
    (result,) = decode(layout, Image.of(data)).checks
    assert (result.holds, result.mark) == (holds, mark)
