from __future__ import annotations

import random
from types import MappingProxyType
from typing import TYPE_CHECKING

import pytest

from parambak.find.checks import crc_makers, crc_values, find_checks, plain_values
from parambak.find.common_bytes import CommonBytes
from parambak.layouts import check_methods
from parambak.layouts.check_methods import ALIASES, METHODS, CheckMethod, compute
from parambak.layouts.model import Check
from parambak.memory.image import Image

if TYPE_CHECKING:
    from parambak.layouts.field_types import ByteOrder


def visits(number: int, size: int = 1024, filled: int = 512) -> list[bytearray]:
    """Return memories of which a few bytes of the first half differ, the rest blank."""
    base = random.Random(1).randbytes(filled) + b"\xff" * (size - filled)
    made = []
    for visit in range(number):
        data = bytearray(base)
        chance = random.Random(visit)
        for place in chance.sample(range(16, 400), 6 if visit else 0):
            data[place] ^= chance.randrange(1, 256)
        made.append(data)
    return made


def found(datas: list[bytearray]) -> tuple[list[tuple[str, int, tuple[int, int]]], list[str]]:
    """Return the confident checks: method, place and range; and the notes."""
    common = CommonBytes.of([Image.of(bytes(data)) for data in datas])
    checks, notes = find_checks(common, common.changes())
    return [(each.method, each.at, each.over) for each in checks if each.confident], notes


@pytest.mark.parametrize("order", ["big", "little"])
@pytest.mark.parametrize("method", ["crc-16/ibm-3740", "sum-16", "crc-32/iso-hdlc", "xor-16"])
def test_a_check_behind_its_range_is_found(method: str, order: ByteOrder) -> None:
    """Two images that differ are enough for 16 bits and more."""
    datas = visits(2)
    for data in datas:
        value = compute(
            Check(name="x", method=method, over=((0, 1),), at=0), bytes(data[:510]), order
        )
        length = 4 if "32" in method else 2
        data[510 : 510 + length] = value.to_bytes(length, order)
    assert (method, 510, (0, 509)) in found(datas)[0]


def test_a_check_before_its_range_is_found() -> None:
    """The first two bytes hold the CRC of all that follows up to the memory's end."""
    datas = visits(2)
    for data in datas:
        value = compute(
            Check(name="x", method="crc-16/modbus", over=((0, 1),), at=0), bytes(data[2:]), "big"
        )
        data[:2] = value.to_bytes(2, "big")
    assert ("crc-16/modbus", 0, (2, 1023)) in found(datas)[0]


def test_a_narrow_check_needs_more_images() -> None:
    """Eight bits by two images could be chance; by six they cannot."""
    datas = visits(6)
    for data in datas:
        data[510] = sum(data[:510]) & 0xFF
    assert found(datas[:2])[0] == []
    assert ("sum-8", 510, (0, 509)) in found(datas)[0]


def test_blank_images_do_not_pass_for_checks() -> None:
    """Sums and several CRCs of 00 are 0: a blank chip proves nothing."""
    blank = bytearray(1024)
    marked = bytearray(1024)
    marked[700] = 1
    assert found([blank, marked])[0] == []
    assert found([blank, blank])[0] == []
    assert "two images" in found([blank, blank])[1][0]


def test_chance_is_not_taken_for_a_check() -> None:
    """Random images that differ everywhere, and no check in them."""
    datas = [bytearray(random.Random(seed).randbytes(2048)) for seed in (1, 2)]
    assert found(datas)[0] == []


def test_values_that_run_on_agree_with_those_worked_out_at_once() -> None:
    """Every method and end, against the check computation that the catalogue tests judge."""
    data = random.Random(4).randbytes(64)
    ends = [9, 10, 31, 64]
    seen = set()
    for name, (calc, _) in crc_makers(3).items():
        for end, value in crc_values(calc, data, 3, ends):
            assert value == compute(
                Check(name="x", method=name, over=((0, 1),), at=0), data[3:end], "big"
            )
        seen.add(name)
    for end, values in plain_values(data, 3, ends):
        for method, value, _, order in values:
            check = Check(name="x", method=method, over=((0, 1),), at=0)
            assert value == compute(check, data[3:end], order or "big"), method
            seen.add(method)
    assert set(METHODS) - seen - set(ALIASES) == {"crc", "crc-82/darc"}


def test_a_method_added_to_the_list_is_searched_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """Though nothing works it out on the way: over each range again."""

    def squares(check: Check, data: bytes, order: ByteOrder) -> int:
        del check, order
        return sum(byte * byte for byte in data)

    made = CheckMethod("squares-16", 16, squares)
    methods = MappingProxyType({**check_methods.METHODS, made.name: made})
    monkeypatch.setattr(check_methods, "METHODS", methods)
    datas = visits(2)
    for data in datas:
        value = sum(byte * byte for byte in data[:510]) & 0xFFFF
        data[510:512] = value.to_bytes(2, "little")
    assert ("squares-16", 510, (0, 509)) in found(datas)[0]
