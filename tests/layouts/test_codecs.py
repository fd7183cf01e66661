"""Every type there and back: a codec reads what it writes, and reports what it cannot hold."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from parambak.layouts.decimals import exact, rounded, with_point
from parambak.layouts.field_types import TYPES, Codec
from parambak.layouts.model import Field, Number
from parambak.layouts.scaling import Scaling, scaling

ORDERS = ("big", "little")
WHOLE = [
    name for name, field_type in TYPES.items() if field_type.is_whole and not field_type.takes_bits
]
FLOATS = [name for name, field_type in TYPES.items() if field_type.is_float]


def a_field(kind: str, **keys: object) -> Field:
    """Return a field of that type at address 0."""
    if TYPES[kind].length is None and kind not in {"date-time", "flag", "bits"}:
        keys.setdefault("length", 2)
    return Field(name="f", at=0, type=TYPES[kind], **keys)  # type: ignore[arg-type]


def a_codec(field: Field, order: str = "big") -> Codec:
    """Return the field's codec."""
    return field.codec(order)  # type: ignore[arg-type]


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("kind", WHOLE)
def test_whole_numbers_there_and_back(kind: str, order: str) -> None:
    """The ends of the range and numbers between come back; one beyond is not written."""
    field = a_field(kind)
    known = a_codec(field, order)
    assert field.bounds is not None
    low, high = field.bounds
    maker = random.Random(kind)
    for number in {low, high, 0, 1, *(maker.randint(low, high) for _ in range(50))}:
        raw = known.write(number)
        assert raw is not None
        assert len(raw) == field.stored_length
        assert known.read(raw).number == number
    assert known.write(high + 1) is None
    assert known.write(low - 1) is None
    assert known.write(Fraction(1, 2)) is None
    assert known.write("text") is None


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("kind", FLOATS)
def test_floats_there_and_back(kind: str, order: str) -> None:
    """Every pattern that is a number comes back as the same value; the nearest is written."""
    field = a_field(kind)
    known = a_codec(field, order)
    maker = random.Random(kind)
    for _ in range(300):
        number = known.read(maker.randbytes(field.stored_length)).number
        if number is None:
            continue
        raw = known.write(number)
        if raw is None:  # an unnormalised pattern below what the format writes
            assert abs(Fraction(number)) < Fraction(1, 1 << 60)
        else:
            assert known.read(raw).number == number
    half = known.write(Fraction(1, 3))
    assert half is not None
    near = known.read(half).number or 0
    assert abs(Fraction(near) - Fraction(1, 3)) < Fraction(1, 1000)
    assert known.write(Fraction(10**400)) is None
    assert known.write("text") is None


def test_bits_there_and_back() -> None:
    """Bits are taken from their place and put there, in a word of either order."""
    field = a_field("bits", bit=6, width=5, length=2)
    for order in ORDERS:
        known = a_codec(field, order)
        for number in range(32):
            raw = known.write(number)
            assert raw is not None
            assert int.from_bytes(raw, order) == number << 6  # type: ignore[arg-type]
            assert known.read(raw).number == number
        assert known.write(32) is None


@pytest.mark.parametrize(
    ("encoding", "padding", "text"),
    [
        ("ascii", "any", "TC-2"),
        ("ascii", "space", "A B"),
        ("latin-1", "zero", "M\u00fcller"),
        ("utf-8", "blank", "\u00e9\u00e8"),
        ("utf-16-le", "any", "AB"),
        ("utf-16-be", "blank", "\u0416"),
        ("koi8-r", "after-zero", "\u0416"),
        ("ascii", "none", "exactly8"),
    ],
)
def test_text_there_and_back(encoding: str, padding: str, text: str) -> None:
    """Text comes back without its padding; what is too long or not encodable is refused."""
    known = a_codec(a_field("text", length=8, encoding=encoding, padding=padding))
    raw = known.write(text)
    assert raw is not None
    assert len(raw) == 8
    assert known.read(raw).text == text
    assert known.write("x" * 9) is None
    if encoding == "ascii":
        assert known.write("\u00fc") is None


def test_dates_there_and_back() -> None:
    """A date and time comes back; one that the parts cannot hold is not written."""
    parts = ("second", "minute", "hour", "weekday", "day", "month", "year")
    for binary in (False, True):
        known = a_codec(a_field("date-time", parts=parts, century=2000, binary=binary))
        raw = known.write("2031-04-05 06:07:08")
        assert raw is not None
        assert known.read(raw).text == "2031-04-05 06:07:08"
    assert known.write("1999-04-05 06:07:08") is None
    assert known.write("never") is None
    assert known.read(bytes([61, 0, 0, 0, 1, 1, 1])).mark == "no such time"


def test_bytes_there_and_back() -> None:
    """Raw bytes are their own hexadecimal."""
    known = a_codec(a_field("bytes", length=3))
    assert known.write("DEAD07") == b"\xde\xad\x07"
    assert known.read(b"\xde\xad\x07").text == "DEAD07"
    assert known.write("DEAD") is None
    assert known.write("no hex") is None


def scaled(**keys: object) -> Scaling:
    """Return the scaling of a 16-bit field."""
    found = scaling(a_field("u16", **keys))
    assert found is not None
    return found


def test_scaling_there_and_back() -> None:
    """A value goes back to its raw number, through a scale, two points, or a table."""
    tenth = scaled(scale=Number("0.1"), offset=Number(-4))
    two = scaled(curve=((819, Number(0)), (4095, Number(10))))
    table = scaled(curve=((0, Number(0)), (100, Number(50)), (300, Number(-10))))
    for known in (tenth, two):
        for raw in range(0, 5000, 7):
            value = known.value(raw)
            assert value is not None
            assert known.raw(value) == raw
    value = table.value(60)
    assert value is not None
    assert table.raw(value) == 60
    assert table.raw(Fraction(-60)) is None
    assert (table.value(301), table.text(301)) == (None, None)


def test_exact_text() -> None:
    """Exact decimals are exact, rounding is half to even, and long ones get an exponent."""
    assert exact(Fraction(1, 3)) is None
    assert exact(Fraction(-5, 8)) == "-0.625"
    assert exact(0) == "0"
    assert exact(Fraction(10) ** 100) == "1E+100"
    assert Fraction(str(exact(Fraction(3, 2**300)))) == Fraction(3, 2**300)
    assert [rounded(Fraction(half, 20), 1) for half in (1, 3, 5, -1, -3)] == [
        "0.0", "0.2", "0.2", "0.0", "-0.2",
    ]  # fmt: skip
    assert [with_point(units, 2) for units in (0, 5, -5, 123)] == ["0.00", "0.05", "-0.05", "1.23"]
