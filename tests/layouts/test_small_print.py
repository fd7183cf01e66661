"""Boundaries and words of a layout's judgement, and values at the edge of what they may be."""

from __future__ import annotations

from fractions import Fraction

import pytest

from parambak.layouts.decode import decode, field_value
from parambak.layouts.field_types import TYPES
from parambak.layouts.load import Mistake, check, load
from parambak.layouts.model import Field
from parambak.layouts.plan import plan_of
from parambak.layouts.slots import slots
from parambak.memory.image import Block, Image

HEAD = '[layout]\ntitle = "T"\nmemory = 32\nbyte-order = "big"\n'


def field(kind: str, *lines: str, name: str = "a", at: int = 0) -> str:
    """Return a field of the type with these keys."""
    keys = (f'name = "{name}"', f"at = {at}", f'type = "{kind}"', *lines)
    return "[[field]]\n" + "\n".join(keys) + "\n"


def mistakes(body: str) -> tuple[Mistake, ...]:
    """Return the mistakes of a layout with a good head."""
    return check((HEAD + body).encode())


def within(body: str, *raws: str) -> list[bool | None]:
    """Return whether the first field is inside its limits for each content of the memory."""
    layout = load((HEAD + body).encode())
    images = [Image.of(bytes.fromhex(raw).ljust(32, b"\0")) for raw in raws]
    return [decode(layout, image).fields[0].within_limits for image in images]


def test_a_float_is_held_to_both_limits() -> None:
    """Each end belongs to what is allowed; below and above it is outside."""
    body = field("f32", "low = 1.0", "high = 2.0")
    assert within(body, "3F800000", "40000000", "3F7FFFFF", "40000001") == [
        True,
        True,
        False,
        False,
    ]
    assert within(field("f32", "low = 1.0"), "3F7FFFFF", "40000001") == [False, True]


def test_a_limit_is_rounded_as_stored_for_a_bare_float_alone() -> None:
    """A stored 0.1 is not above a limit of 0.1; through points or a scale it is judged exactly."""
    assert within(field("f32", "high = 0.1"), "3DCCCCCD") == [True]
    assert within(field("mbf32", "high = 0.1"), "7D4CCCCD") == [False]
    points = "curve = [[0, 0.0], [1, 0.1]]"
    assert within(field("f32", points, "low = 0.1"), "3F800000", "3F7FFFFF") == [True, False]
    assert within(field("f32", "scale = 0.1", "low = 0.1"), "3F800000", "3F7FFFFF") == [True, False]
    assert within(field("f32", "offset = 0.1", "low = 0.1"), "00000000", "80000001") == [
        True,
        False,
    ]


def test_a_bent_curve_is_shown_and_judged_by_the_line_that_the_number_is_on() -> None:
    """The second one is twice as steep as the first."""
    bent = "curve = [[0, 0.0], [10, 1.0], [20, 3.0]]"
    layout = load((HEAD + field("u8", bent)).encode())
    shown = [decode(layout, Image.of(bytes([raw] * 32))).fields[0].value for raw in (5, 15)]
    assert shown == ["0.5", "2.0"]
    assert within(field("u8", bent, "high = 2.0"), "0F", "10") == [True, False]


def test_a_limit_from_a_field_beside_a_fixed_one() -> None:
    """Both count, and each end belongs to what is allowed."""
    body = field("u8", "low = 10", 'high-from = "top"') + field("u8", name="top", at=1)
    assert within(body, "0A14", "0914", "1414", "1514") == [True, False, True, False]
    body = field("u8", "high = 20", 'low-from = "bottom"') + field("u8", name="bottom", at=1)
    assert within(body, "0A0A", "090A", "140A", "150A") == [True, False, True, False]


def test_one_field_is_read_as_among_all() -> None:
    """Copies and absent bytes count in the same way."""
    body = field("u8", "mirror-at = [4]") + field("u16", "scale = 0.5", name="b", at=8)
    layout = load((HEAD + body).encode())
    for image in (Image.of(bytes(range(32))), Image.from_blocks([Block(0, b"\x01\x02")])):
        values = decode(layout, image).fields
        assert [field_value(layout, plan, image) for plan in plan_of(layout).fields] == list(values)
    assert field_value(layout, plan_of(layout).fields[0], Image.of(bytes(range(32)))).mark


def test_a_row_of_a_group_within_has_the_name_of_the_row_around_it() -> None:
    """Unless it has one of its own."""
    text = (
        '[[group]]\nname = "drum"\nat = 0\ncount = 2\nrow-size = 8\nrows = ["port", "starboard"]\n'
        '[[group.group]]\nname = "gear"\nat = 0\ncount = 2\nrow-size = 2\n'
        '[[group.group.field]]\nname = "x"\nat = 0\ntype = "u8"\n'
        '[[group.group]]\nname = "named"\nat = 6\ncount = 1\nrows = ["own"]\n'
        '[[group.group.field]]\nname = "y"\nat = 0\ntype = "u8"\n'
    )
    rows = {slot.name: slot.row for slot in slots(load((HEAD + text).encode()))}
    assert rows["drum[1].gear[2].x"] == "port"
    assert rows["drum[2].gear[1].x"] == "starboard"
    assert rows["drum[2].named[1].y"] == "own"


@pytest.mark.parametrize("good_row", [1, 2])
def test_copies_of_a_table_fail_where_one_row_does(good_row: int) -> None:
    """In any row; the mark names it."""
    text = (
        '[[group]]\nname = "g"\nat = 0\ncount = 2\nrow-size = 8\n'
        '[[group.field]]\nname = "x"\nat = 0\ntype = "u8"\nmirror-at = [4]\n'
    )
    memory = bytearray(32)
    memory[0 if good_row == 2 else 8] = 1
    (result,) = decode(load((HEAD + text).encode()), Image.of(bytes(memory))).checks
    assert (result.holds, result.mark) == (
        False,
        f"g[{3 - good_row}].x differs between its addresses",
    )


def test_a_block_mirrored_says_where_it_differs_first() -> None:
    """How many bytes, and the first address; one alone in the singular."""
    text = HEAD + '[[mirrored]]\nname = "b"\nat = 0\nlength = 8\nmirror-at = 16\n'
    layout = load(text.encode())
    for changed, words in (
        ((3,), "1 byte differs, the first at 0x0003"),
        ((5, 2), "2 bytes differ, the first at 0x0002"),
    ):
        memory = bytearray(32)
        for at in changed:
            memory[at] = 1
        (result,) = decode(layout, Image.of(bytes(memory))).checks
        assert (result.holds, result.mark) == (False, words)


def test_a_part_that_must_be_blank_is_told_where_it_is() -> None:
    """With the first byte that is not."""
    layout = load((HEAD + "[[reserved]]\nat = 4\nlength = 4\nmust-be-blank = true\n").encode())
    (result,) = decode(layout, Image.of(b"\xff" * 6 + bytes(26))).checks
    assert (result.at, result.holds) == (4, False)
    assert result.mark == "the first byte that is not blank is at 0x0006"


@pytest.mark.parametrize(
    ("scale", "good"), [("9e399", True), ("10e399", False), ("1e-399", True), ("1e-400", False)]
)
def test_numbers_are_bounded_on_both_sides(scale: str, good: bool) -> None:
    """Exact arithmetic takes powers of ten below 400, up and down."""
    assert (mistakes(field("u8", f"scale = {scale}")) == ()) is good


@pytest.mark.parametrize(("bits", "good"), [(2, False), (3, True), (128, True), (129, False)])
def test_a_crc_has_3_to_128_bits(bits: int, good: bool) -> None:
    """What is outside is one mistake, and its words are those of the page."""
    text = '[[check]]\nname = "c"\nmethod = "crc"\npoly = 3\nover = [[0, 7]]\nat = 8\n'
    text += f"width = {bits}\n"
    found = mistakes(text)
    assert [mistake.expected for mistake in found] == ([] if good else ["3 to 128 bits"])


def test_a_crc_without_its_width_is_one_mistake() -> None:
    """A byte order that it may not need is not mentioned."""
    head = HEAD.replace('byte-order = "big"\n', "")
    text = head + '[[check]]\nname = "c"\nmethod = "crc"\npoly = 3\nover = [[0, 7]]\nat = 8\n'
    assert [mistake.key for mistake in check(text.encode())] == ["check[1]"]


@pytest.mark.parametrize(
    ("body", "code", "key", "expected", "found"),
    [
        (field("u16", "length = 3"), "layout-length", "field[1].length",
         "2 with type u16, or no length", "3"),
        (field("bcd", "length = 17"), "layout-length", "field[1].length",
         "1 to 16 bytes with type bcd", "17"),
        (field("bits", "bit = 0", 'values = { 0 = "x" }'), "layout-key-missing", "field[1]",
         "`width`", None),
        (field("flag", "bit = 0", "width = 2"), "layout-bits", "field[1].width",
         "1 for a flag", "2"),
        (field("u8", "low = 1", 'low-from = "b"') + field("u8", name="b", at=1),
         "layout-limit-field", "field[1].low-from", "`low` or `low-from`, not both", "both"),
        (field("u8", "shares = 1"), "layout-wrong-kind", "field[1].shares",
         "true or false", "a whole number, 1"),
        (field("u8", "low = false"), "layout-wrong-kind", "field[1].low",
         "a number", "a boolean, false"),
        (field("bits", "bit = 0", "width = 2", 'values = { 4 = "x" }'), "layout-values",
         "field[1].values.4", "whole numbers from 0 to 3", '"4"'),
        (field("date-time", "parts = ['year', 'month', 'day']", "century = 9901"),
         "layout-out-of-bounds", "field[1].century", "a whole number, 0 to 9900", "9901"),
        (field("u8", "byte-order = 5"), "layout-wrong-kind", "field[1].byte-order",
         "text", "a whole number, 5"),
        (field("u8", "scal = 5"), "layout-unknown-key", "field[1].scal",
         "a key of the language", '"scal"'),
        (field("u8", name="n" * 81), "layout-out-of-bounds", "field[1].name",
         "1 to 80 characters", '"' + "n" * 60 + '…"'),
        (field("u8", "curve = [[0, 1.0], [true, 2.0]]"), "layout-wrong-kind",
         "field[1].curve[2][1]", "a whole number", "a boolean, true"),
    ],
)  # fmt: skip
def test_a_mistake_says_what_was_expected_and_found(
    body: str, code: str, key: str, expected: str, found: str | None
) -> None:
    """In the words of the page, at the key itself, and no other mistake next to it."""
    assert [mistake[:1] + mistake[3:6] for mistake in mistakes(body)] == [
        (code, key, expected, found)
    ]


def test_an_include_that_leaves_the_folder_says_what_is_allowed() -> None:
    """And a NUL is named as what it is."""
    (outside,) = mistakes_of_include("../x.toml")
    assert (outside.expected, outside.found) == ("a file in the layout's folder", '"../x.toml"')
    (nul,) = check(b"a = 1\n\0")
    assert (nul.code, nul.line, nul.found) == ("layout-nul", 2, "character 00")


def mistakes_of_include(name: str) -> tuple[Mistake, ...]:
    """Return the mistakes of a layout that includes that file."""
    return check(HEAD.encode() + f'include = ["{name}"]\n'.encode())


def test_the_kinds_of_numbers() -> None:
    """Which types are floats, and which hold whole numbers alone."""
    floats = {name for name, field_type in TYPES.items() if field_type.is_float}
    whole = {name for name, field_type in TYPES.items() if field_type.is_whole}
    assert floats == {
        "f16", "f32", "f64", "mbf32", "mbf40", "mbf64", "ibm32", "ibm64", "ffp32",
    }  # fmt: skip
    assert whole == set(TYPES) - floats - {"text", "date-time", "bytes"}


@pytest.mark.parametrize("name", [name for name, row in TYPES.items() if row.sign_byte is not None])
def test_the_sign_of_a_float_stands_in_its_byte(name: str) -> None:
    """A number and its negative differ in the top bit of that byte alone."""
    codec = Field(name="a", at=0, type=TYPES[name]).codec("big")
    one, other = codec.write(5), codec.write(-5)
    assert one is not None
    assert other is not None
    differing = [first ^ second for first, second in zip(one, other, strict=True)]
    assert differing == [0x80 if at == TYPES[name].sign_byte else 0 for at in range(len(one))]


@pytest.mark.parametrize("name", ["mbf32", "mbf40", "mbf64", "ibm32", "ibm64", "ffp32"])
def test_a_number_that_rounds_up_to_the_next_power_is_that_power(name: str) -> None:
    """All bits of the mantissa overflow into the exponent."""
    codec = Field(name="a", at=0, type=TYPES[name]).codec("big")
    for power in (1, 16, 256):
        near = codec.write(power - Fraction(1, 1 << 70))
        assert near == codec.write(power)
        assert near is not None
        assert codec.read(near).number == power
