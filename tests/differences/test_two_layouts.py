"""Values carried from one software to the next: two layouts, addresses and types moved."""

from __future__ import annotations

import random
import re
from decimal import Decimal
from pathlib import Path

import pytest

from parambak.differences.fields import PARAMETER, RUNNING
from parambak.differences.two_layouts import (
    LEFT_OUT,
    NONE,
    ONLY_NEW,
    ONLY_OLD,
    CarryOver,
    NotCarried,
    Renames,
    carry_over,
    read_renames,
)
from parambak.errors import LayoutRefused
from parambak.layouts.decode import Decoded, decode
from parambak.layouts.load import load
from parambak.memory.image import Image

HEAD = '[layout]\ntitle = "Invented"\nmemory = 64\nbyte-order = "big"\n'


def made(fields: str, data: dict[int, str]) -> Decoded:
    """Return an image, 00 except these bytes, by a layout of these fields."""
    memory = bytearray(64)
    for at, stored in data.items():
        memory[at : at + len(stored) // 2] = bytes.fromhex(stored)
    return decode(load((HEAD + fields).encode()), Image.of(bytes(memory)))


def one(keys: str, stored: str, *, name: str = "ramp", at: int = 0) -> Decoded:
    """Return an image of one field."""
    return made(f'[[field]]\nname = "{name}"\nat = {at}\n{keys}\n', {at: stored})


def why(old: tuple[str, str], new: tuple[str, str]) -> str:
    """Return why the value of one field was not carried over."""
    (lost,) = carry_over(one(*old), one(*new, at=8), NONE).not_carried
    assert lost.field == lost.old_field == "ramp"
    return lost.why


def test_a_value_at_another_address_in_another_type_is_the_same() -> None:
    """15.0 s as 150 tenths of big-endian u16, and as 15000 ms-steps of little-endian u32."""
    old = one('type = "u16"\nscale = 0.1\nunit = "s"', "0096", at=4)
    new = one('type = "u32"\nscale = 0.001\nunit = "s"\nbyte-order = "little"', "983A0000", at=0x20)
    assert carry_over(old, new, NONE) == CarryOver(1, (), ())


SAME = [
    # old type and bytes, new type and bytes: one value
    (('type = "f32"', "3DCCCCCD"), ('type = "u16"\nscale = 0.1', "0001")),
    (('type = "u16"\nscale = 0.1', "0001"), ('type = "f32"', "3DCCCCCD")),
    (('type = "u16"\nscale = 0.1', "0001"), ('type = "f32"\nlow = 0.1\nhigh = 0.1', "3DCCCCCD")),
    (('type = "f32"', "3DCCCCCD"), ('type = "u16"\nscale = 0.1\nhigh = 0.1', "0001")),
    (('type = "f64"', "3FB999999999999A"), ('type = "f32"', "3DCCCCCD")),
    (('type = "f32"', "3DCCCCCD"), ('type = "f64"', "3FB99999A0000000")),
    (('type = "mbf32"\nbyte-order = "little"', "00002084"), ('type = "bcd"\nlength = 1', "10")),
    (('type = "flag"\nbit = 3', "08"), ('type = "u8"', "01")),
    (
        ('type = "u8"\nvalues = { 1 = "bridge" }', "01"),
        ('type = "u16"\nvalues = { 0x55 = "bridge" }', "0055"),
    ),
    (('type = "text"\nlength = 4', "41422020"), ('type = "text"\nlength = 2', "4142")),
    (('type = "u16"', "FFFF"), ('type = "u8"', "FF")),  # never written, both
    (
        ('type = "u16"\ncurve = [[0, 4.0], [4000, 20.0]]', "0271"),
        ('type = "u16"\nscale = 0.5', "000D"),
    ),
]


@pytest.mark.parametrize(("old", "new"), SAME)
def test_the_same_value_in_another_type(old: tuple[str, str], new: tuple[str, str]) -> None:
    """Equal exactly, or the nearest that a float can hold."""
    assert carry_over(one(*old), one(*new, at=8), NONE) == CarryOver(1, (), ())


WHY = [
    (('type = "u16"', "012C"), ('type = "u8"', "2C"), "type u8 cannot hold it at its scale"),
    (
        ('type = "u16"\nscale = 0.01', "04D2"),
        ('type = "u16"\nscale = 0.1', "007B"),
        "type u16 cannot hold it at its scale",
    ),
    (
        ('type = "f32"', "3E000000"),
        ('type = "u16"\nscale = 0.1', "0001"),
        "type u16 cannot hold it at its scale",
    ),
    (
        ('type = "u16"\nunit = "bar"', "0001"),
        ('type = "u16"\nunit = "kPa"', "0001"),
        "another unit: bar became kPa",
    ),
    (
        ('type = "u16"\nunit = "bar"', "0001"),
        ('type = "u16"', "0001"),
        "another unit: bar became none",
    ),
    (
        ('type = "u16"', "0046"),
        ('type = "u16"\nlow = 2\nhigh = 60', "0046"),
        "outside the new limits, 2 to 60",
    ),
    (
        ('type = "u8"\nvalues = { 3 = "joystick" }', "03"),
        ('type = "u8"\nvalues = { 1 = "bridge" }', "01"),
        "the new layout has no such name",
    ),
    (
        ('type = "u8"\nvalues = { 3 = "joystick" }', "03"),
        ('type = "u8"', "03"),
        "another kind of value: name became number",
    ),
    (
        ('type = "text"\nlength = 4', "41424344"),
        ('type = "text"\nlength = 2', "4142"),
        "type text of 2 bytes cannot hold it",
    ),
    (
        ('type = "bcd"\nlength = 1', "3A"),
        ('type = "u8"', "3A"),
        "the old value cannot be read: not BCD",
    ),
    (
        ('type = "f32"', "7F7FFFFF"),
        ('type = "f16"', "7C00"),
        "type f16 cannot hold it at its scale",
    ),
]


@pytest.mark.parametrize(("old", "new", "reason"), WHY)
def test_a_value_that_could_not_be_carried_over(
    old: tuple[str, str], new: tuple[str, str], reason: str
) -> None:
    """The new field cannot hold it, or does not allow it, or the two cannot be compared."""
    assert why(old, new) == reason


def test_limits_of_another_field_are_asked_of_the_new_image() -> None:
    """The trip of the new image is the most that the alarm may be."""
    old = one('type = "u8"', "32", name="alarm")
    fields = '[[field]]\nname = "alarm"\nat = 0\ntype = "u8"\nhigh-from = "trip"\n'
    fields += '[[field]]\nname = "trip"\nat = 1\ntype = "u8"\n'
    lost = carry_over(old, made(fields, {0: "3228"}), NONE).not_carried[0]
    assert lost.why == "outside the new limits, … to 40"
    assert carry_over(old, made(fields, {0: "323C"}), NONE).same == 1


def test_a_changed_value_is_told_with_both_sides() -> None:
    """15.0 became 15.1: a parameter; of a counter it is expected."""
    keys = 'type = "u16"\nscale = 0.1\nunit = "s"\nhigh = 15.0'
    (change,) = carry_over(one(keys, "0095"), one(keys, "0097", at=8), NONE).changed
    assert (change.old, change.new, change.unit, change.at) == ("14.9", "15.1", "s", 8)
    assert (change.kind, change.running, change.within_limits) == (PARAMETER, False, False)
    keys += "\nrunning = true"
    (change,) = carry_over(one(keys, "0095"), one(keys, "0096", at=8), NONE).changed
    assert (change.kind, change.running) == (RUNNING, True)


def test_a_blank_value_and_one_that_is_not_are_different() -> None:
    """Never written on one side, written on the other."""
    found = carry_over(one('type = "u16"', "FFFF"), one('type = "u16"', "0001"), NONE)
    assert [each.new for each in found.changed] == ["1"]


def test_fields_of_one_side_alone_are_listed() -> None:
    """Both are reported."""
    found = carry_over(one('type = "u8"', "01", name="a"), one('type = "u8"', "02", name="b"), NONE)
    assert found.not_carried == (
        NotCarried(None, "a", "1", None, None, None, ONLY_OLD),
        NotCarried("b", None, None, "2", None, None, ONLY_NEW),
    )


GROUPS_OLD = (
    '[[group]]\nname = "channel"\nat = 0\ncount = 2\nrow-size = 4\n'
    '[[group.field]]\nname = "upper"\nat = 0\ntype = "u8"\n'
    '[[group.group]]\nname = "step"\nat = 1\ncount = 2\nrow-size = 1\n'
    '[[group.group.field]]\nname = "t"\nat = 0\ntype = "u8"\n'
)
GROUPS_NEW = GROUPS_OLD.replace('"channel"', '"input"').replace('"upper"', '"high"')
VALUES = {0: "01020300", 4: "04050600"}


@pytest.mark.parametrize(
    "table",
    [
        'channel = "input"\n"channel.upper" = "input.high"\n',
        'channel.upper = "input.high"\nchannel.step = "input.step"\n',
        (
            '"channel[1].upper" = "input[1].high"\n"channel[2].upper" = "input[2].high"\n'
            '"channel.step.t" = "input.step.t"\n'
        ),
    ],
)
def test_groups_are_renamed_whole_by_field_or_row_by_row(table: str) -> None:
    """Rows keep their numbers; the longest name that fits counts."""
    old, new = made(GROUPS_OLD, VALUES), made(GROUPS_NEW, VALUES)
    assert carry_over(old, new, read_renames(table.encode())) == CarryOver(6, (), ())


def test_rows_that_change_places_need_their_own_entries() -> None:
    """Row 1 became row 2 and the other way round: values follow."""
    table = read_renames(b'"channel[1].upper" = "channel[2].upper"\n'
                         b'"channel[2].upper" = "channel[1].upper"\n')  # fmt: skip
    new = made(GROUPS_OLD, {0: "04020300", 4: "01050600"})
    assert carry_over(made(GROUPS_OLD, VALUES), new, table) == CarryOver(6, (), ())


def test_a_field_left_out_on_purpose_is_excused() -> None:
    """`false`: the version text must differ after an upgrade."""
    old = one('type = "u8"', "03", name="version")
    found = carry_over(
        old, one('type = "u8"', "04", name="version"), read_renames(b"version = false")
    )
    assert [(each.old_field, each.why, each.excused) for each in found.not_carried] == [
        ("version", LEFT_OUT, True),
        (None, ONLY_NEW, False),
    ]


def test_any_number_of_fields_may_be_left_out() -> None:
    """None of them is another one's new name."""
    both = made(GROUPS_OLD, VALUES)
    found = carry_over(both, both, read_renames(b"channel = false"))
    assert [lost.why for lost in found.not_carried] == [LEFT_OUT] * 6 + [ONLY_NEW] * 6


def test_bytes_that_the_new_image_has_not_are_no_other_value() -> None:
    """Of a dump cut short."""
    layout = load((HEAD + '[[field]]\nname = "ramp"\nat = 60\ntype = "u8"\n').encode())
    old, short = (decode(layout, Image.of(b"\x01" * length)) for length in (64, 60))
    (lost,) = carry_over(old, short, NONE).not_carried
    assert (lost.old, lost.new, lost.why) == (
        "1",
        "absent",
        "the new image does not have its bytes",
    )


BAD = [
    (b"ramp = 3\n", "renames-shape", 1),
    (b"ramp = true\n", "renames-shape", 1),
    (b'\nrampp = "ramp"\n', "renames-unknown", 2),
    (b'ramp = "rammp"\n', "renames-unknown", 1),
    (b'ramp = "stay"\n', "renames-twice", None),
    (b'\nstay = "ramp"\n', "renames-twice", 2),
    (b'ramp = "x"\nramp = "y"\n', "layout-key-twice", 2),
    (b"ramp = \n", "layout-syntax", 1),
    (b"\xff", "layout-not-utf8", 1),
    (b"a" + b".a" * 70 + b' = "x"\n', "layout-too-deep", 1),
]


@pytest.mark.parametrize(("table", "code", "line"), BAD)
def test_a_bad_table_of_renames_is_refused(table: bytes, code: str, line: int | None) -> None:
    """With the line, what was expected and the nearest right word."""
    fields = '[[field]]\nname = "ramp"\nat = 0\ntype = "u8"\n'
    fields += '[[field]]\nname = "stay"\nat = 1\ntype = "u8"\n'
    side = made(fields, {})
    with pytest.raises(LayoutRefused) as refused:
        carry_over(side, side, read_renames(table))
    assert refused.value.code == code
    if line is not None:
        assert refused.value.line == line
    if code == "renames-shape":
        assert refused.value.expected == "text, or false"
    if code == "renames-unknown":
        assert "`ramp`" in (refused.value.next or "")


def test_random_bytes_are_read_or_refused() -> None:
    """No other error comes out of any table."""
    maker = random.Random(4)
    side = made(GROUPS_OLD, VALUES)
    letters = b"chanel.up[]\"=1 2\n'{}tsfr"
    for _ in range(3000):
        table = bytes(maker.choices(letters, k=maker.randrange(24)))
        try:
            carry_over(side, side, read_renames(table))
        except LayoutRefused as refused:
            assert refused.next  # noqa: PT017 - most tables are good or bad by chance


def test_random_values_agree_with_decimal() -> None:
    """Old and new scales at random: the same, changed or not carried, as exact decimals show."""
    maker = random.Random(9)
    for _ in range(400):
        scales = [Decimal(maker.choice((1, 2, 5, 10))).scaleb(-maker.randrange(3)) for _ in "12"]
        raws = [maker.randrange(2000), maker.randrange(2000)]
        if maker.random() < 0.5:
            raws[1] = min(65534, int(raws[0] * scales[0] / scales[1]))
        old, new = (
            one(f'type = "u16"\nscale = {scale:f}', f"{raw:04X}")
            for scale, raw in zip(scales, raws, strict=True)
        )
        values = [raw * scale for raw, scale in zip(raws, scales, strict=True)]
        found = carry_over(old, new, Renames({}, {}))
        holdable = values[0] % scales[1] == 0 and values[0] / scales[1] <= 65535
        assert bool(found.not_carried) == (not holdable)
        assert found.same == (holdable and values[0] == values[1])


def test_the_example_of_the_page() -> None:
    """formats/renames.md: each old name of the table gives the new one next to it."""
    page = (Path(__file__).parents[2] / "formats" / "renames.md").read_text(encoding="utf-8")
    found = re.search(r"```toml\n(.*?)```\n\n\| old name.*?\n\|-.*?\n(.*?)\n\n", page, re.DOTALL)
    assert found is not None
    pairs = [[cell.strip() for cell in row.split("|")[1:3]] for row in found[2].splitlines()]
    assert len(pairs) == 7
    renames = read_renames(found[1].encode())
    assert [renames.new_name(old) or "" for old, _ in pairs] == [new for _, new in pairs]
    given = renames.paired([old for old, _ in pairs], [new for _, new in pairs if new])
    assert given == {old: new or None for old, new in pairs}


def test_changes_stand_in_the_order_of_the_new_addresses() -> None:
    """In any order of the old ones."""
    fields = (
        '[[field]]\nname = "a"\nat = {}\ntype = "u8"\n[[field]]\nname = "b"\nat = {}\ntype = "u8"\n'
    )
    old, new = made(fields.format(0, 1), {0: "0102"}), made(fields.format(9, 8), {8: "0304"})
    changes = carry_over(old, new, NONE).changed
    assert [(change.field, change.at, change.new) for change in changes] == [
        ("b", 8, "3"),
        ("a", 9, "4"),
    ]


def test_what_is_not_carried_over_has_the_unit_of_either_side() -> None:
    """The old field's and the new field's, which need not be the same."""
    old, new = (one(f'type = "u16"\nunit = "{unit}"', "0001") for unit in ("s", "min"))
    (lost,) = carry_over(old, new, NONE).not_carried
    assert (lost.old_unit, lost.new_unit) == ("s", "min")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (('type = "u32"', "0000FFFF"), ('type = "u16"', "FFFF")),
        (('type = "u16"', "FFFF"), ('type = "u32"', "0000FFFF")),
    ],
)
def test_a_blank_field_is_not_the_number_that_its_bytes_would_be(
    old: tuple[str, str], new: tuple[str, str]
) -> None:
    """On either side: 65535 was set by somebody, FFFF was never written."""
    carried = carry_over(one(*old), one(*new, at=8), NONE)
    assert (carried.same, len(carried.changed)) == (0, 1)
