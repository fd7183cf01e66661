"""Units of one layout: what differs from the rest is found, by the stated measure."""

from __future__ import annotations

import random
import tracemalloc
from typing import TYPE_CHECKING

import pytest

from parambak.differences.units import FARTHEST, NO_TWO, Unlike, unlike_values
from parambak.layouts.load import load
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    from collections.abc import Sequence

LAYOUT = load(b"""
[layout]
title = "invented"
memory = 16
byte-order = "big"
[[field]]
name = "plate"
at = 0
type = "u8"
identifies-unit = true
[[field]]
name = "ramp"
at = 2
type = "u16"
scale = 0.1
unit = "s"
[[field]]
name = "mode"
at = 4
type = "u8"
values = { 0 = "local", 1 = "bridge", 2 = "remote" }
[[field]]
name = "hours"
at = 6
type = "u16"
running = true
[[field]]
name = "gain"
at = 8
type = "u8"
belongs-to-card = true
[[field]]
name = "first_flag"
at = 10
type = "flag"
bit = 0
[[field]]
name = "second_flag"
at = 10
type = "flag"
bit = 1
[[field]]
name = "curve"
at = 12
type = "u16"
curve = [[0, 0.0], [1000, 10.0], [2000, 100.0]]
""")


def memory(number: int, ramp: int = 125, mode: int = 1, flags: int = 0, curve: int = 500) -> Image:
    """Return an invented unit's memory; what is its own differs with its number."""
    data = bytearray(16)
    data[0], data[8] = number, number * 3 % 256
    data[2:4] = ramp.to_bytes(2, "big")
    data[4], data[10] = mode, flags
    data[6:8] = (number * 37).to_bytes(2, "big")
    data[12:14] = curve.to_bytes(2, "big")
    return Image.of(bytes(data))


def units(images: Sequence[Image]) -> list[tuple[str, Image]]:
    """Return the units by name."""
    return [(f"u{number}", image) for number, image in enumerate(images)]


def told(found: Sequence[Unlike]) -> list[tuple[str, str, str, str]]:
    """Return unit, field, value and the usual one."""
    return [(each.unit, each.field, each.value, each.usual) for each in found]


def test_units_that_agree_have_nothing_to_tell() -> None:
    """Counters and what is the unit's or card's own are not compared."""
    assert unlike_values(LAYOUT, units([memory(n) for n in range(12)])) == ()
    assert unlike_values(LAYOUT, units([memory(1)])) == ()


def test_the_one_that_differs_from_a_majority_is_told() -> None:
    """A number of few units, and a named value: by how many units hold it."""
    found = unlike_values(LAYOUT, units([memory(0), memory(1, ramp=140), memory(2, mode=2)]))
    assert told(found) == [
        ("u1", "ramp", "14.0", "12.5"),
        ("u2", "mode", "remote", "bridge"),
    ]
    assert [(each.same, each.units, each.score) for each in found] == [(1, 3, None)] * 2


def test_two_that_differ_are_both_told_and_nobody_is_right() -> None:
    """There is no usual value."""
    found = unlike_values(LAYOUT, units([memory(0), memory(1, ramp=140)]))
    assert told(found) == [("u0", "ramp", "12.5", NO_TWO), ("u1", "ramp", "14.0", NO_TWO)]


def test_flags_of_one_byte_are_held_apart() -> None:
    """The neighbour's bit is no difference."""
    images = [memory(n, flags=0b11) for n in range(3)] + [memory(3, flags=0b01)]
    assert told(unlike_values(LAYOUT, units(images))) == [("u3", "second_flag", "0", "1")]


@pytest.mark.parametrize("order", ["big", "little"])
def test_bits_of_two_bytes_are_held_apart_from_their_neighbours(order: str) -> None:
    """Four bits over the border of the bytes; a bit of each byte besides is another field's."""
    layout = load(
        b'[layout]\ntitle = "invented"\nmemory = 3\nbyte-order = "%s"\n' % order.encode()
        + b'[[field]]\nname = "rate"\nat = 1\ntype = "bits"\nlength = 2\nbit = 6\nwidth = 4\n'
    )

    def stored(number: int) -> Image:
        return Image.of(bytes(1) + number.to_bytes(2, order))  # type: ignore[arg-type]

    beside = [stored(5 << 6), stored(5 << 6 | 0x8001), stored(5 << 6 | 0x0400)]
    assert unlike_values(layout, units(beside)) == ()
    for other in (4, 1):  # a bit in either byte
        found = unlike_values(layout, units([*beside, stored(other << 6)]))
        assert told(found) == [("u3", "rate", str(other), "5")]


def test_a_number_among_many_is_measured_by_the_spread() -> None:
    """3.5 modified z-scores and more: 0.6745 (x - median) / MAD."""
    ramps = [100, 101, 102, 103, 104, 105, 106, 107, 108, 150]
    found = unlike_values(LAYOUT, units([memory(n, ramp=ramp) for n, ramp in enumerate(ramps)]))
    assert told(found) == [("u9", "ramp", "15.0", "10.4")]
    # The median is 104.5, the MAD 2.5 (both calc): 0.6745 * 45.5 / 2.5.
    assert found[0].score == pytest.approx(12.2759)
    assert found[0].bits == FARTHEST


def test_a_table_of_points_is_measured_by_its_values() -> None:
    """Not by what is stored: the table bends."""
    stored = [400, 450, 500, 550, 600, 650, 700, 750, 1400]
    found = unlike_values(LAYOUT, units([memory(n, curve=each) for n, each in enumerate(stored)]))
    assert [each.field for each in found] == ["curve"]
    # Values 4.0 … 7.5 and 46.0: median 6.0, MAD 1.0 (calc).
    assert found[0].score == pytest.approx(0.6745 * 40.0)


def test_where_half_are_the_same_the_rest_is_measured_by_rarity() -> None:
    """A spread of zero means nothing."""
    ramps = [125] * 8 + [130, 400]
    found = unlike_values(LAYOUT, units([memory(n, ramp=ramp) for n, ramp in enumerate(ramps)]))
    assert {(each.unit, each.score) for each in found} == {("u8", None), ("u9", None)}


def test_a_difference_within_the_tolerance_is_none() -> None:
    """Of the usual value; beyond it, it is."""
    layout = load(
        b"[layout]\ntitle = 'x'\nmemory = 1\n[[field]]\nname = 'a'\nat = 0\ntype = 'u8'\n"
        b"scale = 0.1\ntolerance = 0.2\n"
    )
    stored = {"a": 50, "b": 50, "c": 52, "d": 53}
    given = [(name, Image.of(bytes([value]))) for name, value in stored.items()]
    assert [each.unit for each in unlike_values(layout, given)] == ["d"]


def test_the_most_unlike_goes_first() -> None:
    """By how surprising it is."""
    images = [memory(n, mode=0 if n == 3 else 1, ramp=100 + n) for n in range(20)]
    images[7] = memory(7, ramp=3000)
    found = unlike_values(LAYOUT, units(images))
    assert [each.unit for each in found] == ["u7", "u3"]
    assert found[0].bits > found[1].bits


def test_what_differs_on_purpose_is_left_out() -> None:
    """That unit and that field alone."""
    given = units([memory(0), memory(1, ramp=140, mode=2), memory(2)])
    assert told(unlike_values(LAYOUT, given, {("u1", "ramp")})) == [
        ("u1", "mode", "remote", "bridge")
    ]


def test_bytes_that_are_absent_are_unlike_those_that_are_there() -> None:
    """An image with a hole is compared all the same."""
    whole = memory(0)
    holed = Image.from_blocks([Block(0, whole.content[:2]), Block(4, whole.content[4:])])
    found = unlike_values(LAYOUT, [("a", whole), ("b", memory(1)), ("c", holed)])
    assert told(found) == [("c", "ramp", "absent", "12.5")]


def test_an_odd_unit_is_found_among_many_invented_ones() -> None:
    """One in forty, its value far from what the rest scatter about."""
    chance = random.Random(20261125)
    for _ in range(50):
        images = [memory(n, ramp=round(chance.gauss(1000, 20))) for n in range(40)]
        odd = chance.randrange(40)
        images[odd] = memory(odd, ramp=1000 + chance.choice([-1, 1]) * 400)
        assert unlike_values(LAYOUT, units(images))[0].unit == f"u{odd}"


def test_no_image_is_held_while_units_are_compared() -> None:
    """Of a hundred units more, the peak is that of their fields, not of their bytes."""

    def peak(count: int) -> int:
        made = (Image.of(memory(n % 200).content + bytes(1 << 15)) for n in range(count))
        given = ((f"u{number}", image) for number, image in enumerate(made))
        tracemalloc.start()
        unlike_values(LAYOUT, given)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(3)
    assert peak(120) - peak(20) < 100 * 1024


def test_eight_units_are_enough_for_a_spread() -> None:
    """Seven numbers about 125 and one at 400: of eight units it has a score, of seven none."""
    ramps = [121, 122, 123, 124, 125, 126, 127, 400]
    of_eight = unlike_values(LAYOUT, units([memory(n, ramp=ramp) for n, ramp in enumerate(ramps)]))
    assert [(value.unit, value.score is not None) for value in of_eight] == [("u7", True)]
    of_seven = unlike_values(
        LAYOUT, units([memory(n, ramp=ramp) for n, ramp in enumerate(ramps[1:])])
    )
    assert {value.score for value in of_seven} == {None}
