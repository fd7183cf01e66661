"""The value of a check, method by method: published check values, and what a start value does."""

from __future__ import annotations

import zlib

import pytest

from parambak.layouts.check_methods import METHODS, compute, crc_by_table, fletcher_16, width
from parambak.layouts.model import Check

DIGITS = b"123456789"
# Published check values over the nine digits: the catalogue of parametrised CRC algorithms.
PUBLISHED = {
    "crc-3/gsm": 0x4,
    "crc-5/usb": 0x19,
    "crc-8/smbus": 0xF4,
    "crc-16/xmodem": 0x31C3,
    "crc-16/modbus": 0x4B37,
    "crc-32/iso-hdlc": 0xCBF43926,
    "crc-64/xz": 0x995DC9BBDF1939FA,
    "crc-82/darc": 0x09EA83F625023801FD612,
}


def a_check(method: str, **keys: int | bool) -> Check:
    """Return a check of that method."""
    return Check(name="c", method=method, over=((0, 8),), at=16, **keys)  # type: ignore[arg-type]


@pytest.mark.parametrize(("method", "value"), PUBLISHED.items())
def test_a_published_check_value(method: str, value: int) -> None:
    """By its name, in either case."""
    assert compute(a_check(method), DIGITS, "big") == value
    assert compute(a_check(method.upper()), DIGITS, "big") == value


@pytest.mark.parametrize("bits", [3, 5, 8, 9, 16, 33, 64])
@pytest.mark.parametrize("turned", [(False, False), (True, True), (True, False), (False, True)])
def test_the_table_agrees_with_the_library(bits: int, turned: tuple[bool, bool]) -> None:
    """Two computations that share no code, at every kind of width; wider ones have the table."""
    poly, init, out = (0x1B | 1) & ((1 << bits) - 1), (1 << bits) - 2, 1
    check = a_check(
        "crc", width=bits, poly=poly, init=init,
        reflect_in=turned[0], reflect_out=turned[1], xor_out=out,
    )  # fmt: skip
    table = crc_by_table(
        DIGITS, bits=bits, poly=poly, init=init,
        reflect_in=turned[0], reflect_out=turned[1], out=out,
    )  # fmt: skip
    assert compute(check, DIGITS, "big") == table


def test_a_crc_by_parameters_wider_than_the_library_goes() -> None:
    """The published one of 82 bits, written out; 128 bits are the widest."""
    darc = a_check(
        "crc", width=82, poly=0x0308C0111011401440411, init=0, reflect_in=True, reflect_out=True
    )
    assert compute(darc, DIGITS, "big") == PUBLISHED["crc-82/darc"]
    assert width(a_check("crc", width=128, poly=1)) == 128


@pytest.mark.parametrize(
    ("method", "order", "value"),
    [
        ("sum-8", "big", 0x0D),
        ("sum-16", "big", 0x030D),
        ("sum-24", "big", 0x00030D),
        ("sum-32", "big", 0x0000030D),
        ("word-sum-16", "big", 0x0105 + 0x0108),
        ("word-sum-16", "little", 0x0501 + 0x0801),
        ("word-sum-32", "big", 0x01050108),
        ("word-sum-32", "little", 0x08010501),
        ("xor-8", "big", 0x01 ^ 0x05 ^ 0x01 ^ 0x08),
        ("xor-16", "big", 0x0105 ^ 0x0108),
        ("xor-16", "little", 0x0501 ^ 0x0801),
    ],
)
def test_sums_of_words_worked_by_hand(method: str, order: str, value: int) -> None:
    """Over 01 05 01 08, or 0x30D as the sum of larger bytes; and both complements."""
    data = (
        b"\x01\x05\x01\x08"
        if "word" in method or "xor" in method
        else bytes([0xFF, 0xFF, 0xFF, 16])
    )
    bits = METHODS[method].bits or 0
    mask = (1 << bits) - 1
    assert compute(a_check(method), data, order) == value & mask  # type: ignore[arg-type]
    for complement, expected in (("ones", ~value), ("twos", -value)):
        other = a_check(f"{method}-{complement}-complement")
        assert compute(other, data, order) == expected & mask  # type: ignore[arg-type]


def test_a_start_value_goes_with_sums_alone() -> None:
    """Added to a sum, exclusive-or of an exclusive-or, before the complement; nothing for a CRC."""
    assert compute(a_check("sum-8", init=0x10), b"\x01", "big") == 0x11
    assert compute(a_check("xor-8", init=0x11), b"\x01", "big") == 0x10
    assert compute(a_check("word-sum-16", init=1), b"\x00\x01", "big") == 2
    assert compute(a_check("sum-8-ones-complement", init=0x10), b"\x01", "big") == 0xEE
    takes = {row.name.split("-")[0] for row in METHODS.values() if row.takes_init}
    assert takes == {"sum", "word", "xor", "crc"}
    assert [row.name for row in METHODS.values() if row.takes_init and row.name[:3] == "crc"] == [
        "crc"
    ]


def test_fletcher_and_adler() -> None:
    """Worked by hand, and by the standard library."""
    assert fletcher_16(b"abcde") == 0xC8F0  # published example of two sums modulo 255
    assert compute(a_check("adler-32"), DIGITS, "big") == zlib.adler32(DIGITS)


def test_a_width_that_is_not_known_is_eight_bits() -> None:
    """So that the rest of a check with a mistake is still judged, and nothing more is noted."""
    assert [width(a_check("crc", width=bits, poly=1)) for bits in (2, 3, 128, 129)] == [
        8,
        3,
        128,
        8,
    ]
    assert width(a_check("no such method")) == 8
