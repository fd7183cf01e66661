"""CRCs and sums of a layout against published values and an unrelated library.

Source of names, parameters, check values and codewords, if no other is named:
G. Cook, Catalogue of parametrised CRC algorithms, update of 11 December 2024.
"""

from __future__ import annotations

import random
import zlib
from typing import TYPE_CHECKING

import crccheck.crc
import pytest

from parambak.layouts.check_methods import (
    ALIASES,
    CRC_NAMES,
    compute,
    crc_by_table,
    method_named,
    width,
)
from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.layouts.model import Check
from parambak.memory.image import Image

if TYPE_CHECKING:
    from parambak.layouts.verdicts import CheckResult

DIGITS = b"123456789"
LIBRARY = {each._names[0].lower(): each for each in crccheck.crc.ALLCRCCLASSES}

# name, poly, init, reflected, xorout, check value over "123456789", from the catalogue
CATALOGUE = [
    ("CRC-8/SMBUS", 0x07, 0x00, False, 0x00, 0xF4),
    ("CRC-8/MAXIM-DOW", 0x31, 0x00, True, 0x00, 0xA1),
    ("CRC-8/SAE-J1850", 0x1D, 0xFF, False, 0xFF, 0x4B),
    ("CRC-16/ARC", 0x8005, 0x0000, True, 0x0000, 0xBB3D),
    ("CRC-16/MODBUS", 0x8005, 0xFFFF, True, 0x0000, 0x4B37),
    ("CRC-16/MAXIM-DOW", 0x8005, 0x0000, True, 0xFFFF, 0x44C2),
    ("CRC-16/KERMIT", 0x1021, 0x0000, True, 0x0000, 0x2189),
    ("CRC-16/XMODEM", 0x1021, 0x0000, False, 0x0000, 0x31C3),
    ("CRC-16/IBM-3740", 0x1021, 0xFFFF, False, 0x0000, 0x29B1),
    ("CRC-16/IBM-SDLC", 0x1021, 0xFFFF, True, 0xFFFF, 0x906E),
    ("CRC-16/GENIBUS", 0x1021, 0xFFFF, False, 0xFFFF, 0xD64E),
    ("CRC-32/ISO-HDLC", 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xCBF43926),
    ("CRC-32/ISCSI", 0x1EDC6F41, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xE3069283),
    ("CRC-32/MPEG-2", 0x04C11DB7, 0xFFFFFFFF, False, 0, 0x0376E6E7),
]

# method, data and stored value as published, low byte first if the algorithm reflects
CODEWORDS = [
    *(
        ("crc-16/arc", data, stored)
        for data, stored in (
            ("00000000", "0000"),
            ("F20183", "E1C2"),
            ("0FAA0055", "E30B"),
            ("00FF5511", "CF6C"),
            ("332255AABBCCDDEEFF", "98AE"),
            ("926B55", "4EE2"),
            ("FFFFFFFF", "0194"),
        )
    ),
    *(
        ("crc-16/ibm-3740", data, stored)
        for data, stored in (
            ("00000000", "84C0"),
            ("F20183", "D374"),
            ("0FAA0055", "2023"),
            ("00FF5511", "B8F9"),
            ("332255AABBCCDDEEFF", "F53F"),
            ("926B55", "0745"),
            ("FFFFFFFF", "1D0F"),
            ("FE00000001", "F1D3"),
        )
    ),
    ("crc-32/iso-hdlc", "00000000", "1CDF4421"),
    ("crc-32/iso-hdlc", "F20183", "779DAB24"),
    ("crc-32/iso-hdlc", "FFFFFFFF", "FFFFFFFF"),
    ("crc-16/ibm-sdlc", "033F", "5BEC"),  # ITU-T Recommendation X.25, Appendix I
    ("crc-16/ibm-sdlc", "0173", "8357"),  # the same
    ("crc-16/kermit", "54", "A114"),  # Numerical Recipes, page 898
    ("crc-16/xmodem", "54", "1A71"),  # the same
    ("crc-8/maxim-dow", "242BC5FB000000", "40"),
    ("crc-8/maxim-dow", "102BC5FB000000", "A0"),
    ("crc-32/iscsi", "00" * 32, "AA36918A"),  # RFC 7143, the examples of its CRC
    ("crc-32/iscsi", "FF" * 32, "43ABA862"),  # the same
    ("crc-32/iscsi", bytes(range(32)).hex(), "4E79DD46"),  # the same
    ("crc-16/modbus", "0207", "4112"),  # Modbus serial line guide; from memory, computed again
    ("crc-8/maxim-dow", "021CB801000000", "A2"),  # application note 27; from memory, the same
]


def a_check(method: str, **parameters: int | bool) -> Check:
    """Return a check of that method, its ranges of no account here."""
    return Check(name="c", method=method, over=((0, 0),), at=1, **parameters)  # type: ignore[arg-type]


def by_layout(method: str, data: bytes, stored: bytes, order: str) -> CheckResult:
    """Return how a layout judges `data` with its check value stored behind it."""
    text = (
        f'[layout]\ntitle = "T"\nmemory = {len(data + stored)}\nbyte-order = "{order}"\n'
        f'[[check]]\nname = "c"\nmethod = "{method}"\nover = [[0, {len(data) - 1}]]\n'
        f"at = {len(data)}\n"
    )
    return decode(load(text.encode()), Image.of(data + stored)).checks[0]


@pytest.mark.parametrize(
    ("name", "poly", "init", "turned", "out", "check"), CATALOGUE, ids=[row[0] for row in CATALOGUE]
)
def test_check_values_of_the_catalogue(  # noqa: PLR0917 - the columns of the catalogue
    name: str, poly: int, init: int, turned: bool, out: int, check: int
) -> None:
    """By name, by parameters and by the table, each gives the catalogue's check value."""
    named = a_check(name)
    bits = width(named)
    assert compute(named, DIGITS, "big") == check
    parameters = a_check(
        "crc", width=bits, poly=poly, init=init, reflect_in=turned, reflect_out=turned, xor_out=out
    )
    assert compute(parameters, DIGITS, "big") == check
    table = crc_by_table(
        DIGITS, bits=bits, poly=poly, init=init, reflect_in=turned, reflect_out=turned, out=out
    )
    assert table == check
    result = by_layout(name, DIGITS, check.to_bytes(bits // 8, "little"), "little")
    assert (result.holds, result.stored) == (True, f"{check:0{bits // 4}X}")


def test_the_catalogue_has_113_names() -> None:
    """Every name of the catalogue is offered; none is missing or invented (crccheck 1.3.1)."""
    assert len(CRC_NAMES) == 113
    assert set(CRC_NAMES) == set(LIBRARY)


@pytest.mark.parametrize("name", CRC_NAMES)
def test_each_algorithm_against_another_library(name: str) -> None:
    """Each of the 113 agrees with crccheck: its check value, and random data of any length."""
    peer = LIBRARY[name]
    maker = random.Random(name)
    assert compute(a_check(name), DIGITS, "big") == peer._check_result
    parameters = a_check(
        "crc",
        width=peer._width,
        poly=peer._poly,
        init=peer._initvalue,
        reflect_in=peer._reflect_input,
        reflect_out=peer._reflect_output,
        xor_out=peer._xor_output,
    )
    for length in (0, 1, 2, 9, 64, 257):
        data = maker.randbytes(length)
        assert compute(a_check(name), data, "big") == peer.calc(data)
        assert compute(parameters, data, "little") == peer.calc(data)


def test_each_alias_against_another_library() -> None:
    """Each alias means the same algorithm as in crccheck, in upper or lower case."""
    for alias, name in ALIASES.items():
        assert alias.upper() in LIBRARY[name]._names
        method = method_named(alias.upper())
        assert method is not None
        assert method.name == name


@pytest.mark.parametrize(("method", "data", "stored"), CODEWORDS)
def test_published_codewords(method: str, data: str, stored: str) -> None:
    """A published codeword holds as it is stored; with any one bit wrong it does not."""
    order = "little" if LIBRARY[method]._reflect_output else "big"
    body, value = bytes.fromhex(data), bytes.fromhex(stored)
    assert by_layout(method, body, value, order).holds is True
    whole = bytearray(body + value)
    for bit in range(0, 8 * len(whole), 7):
        whole[bit // 8] ^= 1 << bit % 8
        wrong = by_layout(method, bytes(whole[: len(body)]), bytes(whole[len(body) :]), order)
        assert wrong.holds is False
        whole[bit // 8] ^= 1 << bit % 8


def test_there_are_twenty_codewords_and_more() -> None:
    """The table above has not shrunk."""
    assert len(CODEWORDS) >= 20


def test_a_chip_of_zeros_that_seems_to_hold_is_marked() -> None:
    """Over bytes of 00 several methods give 0: it holds, and states that all bytes are 00."""
    for method in ("crc-16/arc", "crc-16/kermit", "crc-16/xmodem", "sum-16", "xor-8"):
        result = by_layout(method, bytes(30), bytes(2)[: 1 if method == "xor-8" else 2], "big")
        assert (result.holds, result.mark) == (True, "all bytes are 00")
    assert by_layout("sum-8", b"\1\2", b"\3", "big").mark is None


@pytest.mark.parametrize(
    ("text", "value"), [("abcde", 0xC8F0), ("abcdef", 0x2057), ("abcdefgh", 0x0627)]
)
def test_fletcher_16(text: str, value: int) -> None:
    """Published examples of Fletcher-16 (Wikipedia; from memory, computed again)."""
    assert compute(a_check("fletcher-16"), text.encode(), "big") == value


@pytest.mark.parametrize(
    ("text", "value"), [("Wikipedia", 0x11E60398), ("123456789", 0x091E01DE), ("", 1)]
)
def test_adler_32(text: str, value: int) -> None:
    """RFC 1950's checksum (published examples; from memory), and Python's own zlib."""
    assert (
        compute(a_check("adler-32"), text.encode(), "big") == value == zlib.adler32(text.encode())
    )


def test_sums_against_plain_loops() -> None:
    """Sums, word sums, exclusive-ors and complements agree with loops a byte or word at a time."""
    maker = random.Random(3)
    for length in (0, 1, 2, 3, 8, 255, 1000):
        data = maker.randbytes(length)
        padded = data + bytes(-length % 4)
        exclusive = 0
        for byte in data:
            exclusive ^= byte
        total = sum(data)
        assert compute(a_check("sum-8"), data, "big") == total % 256
        assert compute(a_check("sum-24"), data, "big") == total % (1 << 24)
        assert compute(a_check("sum-16", init=7), data, "big") == (total + 7) % 65536
        assert compute(a_check("xor-8"), data, "big") == exclusive
        assert compute(a_check("sum-16-ones-complement"), data, "big") == total % 65536 ^ 0xFFFF
        assert (compute(a_check("sum-8-twos-complement"), data, "big") + total) % 256 == 0
        for order in ("big", "little"):
            words = [int.from_bytes(padded[at : at + 2], order) for at in range(0, length, 2)]
            longs = [int.from_bytes(padded[at : at + 4], order) for at in range(0, length, 4)]
            folded = 0
            for word in words:
                folded ^= word
            assert compute(a_check("word-sum-16"), data, order) == sum(words) % 65536
            assert compute(a_check("word-sum-32"), data, order) == sum(longs) % (1 << 32)
            assert compute(a_check("xor-16"), data, order) == folded
