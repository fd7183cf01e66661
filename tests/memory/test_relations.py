"""Swapped, exchanged, shifted, repeated, halved: each found, with its figure, and fast."""

from __future__ import annotations

import random
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.memory import relations as rel

RNG = random.Random(41)
DATA = RNG.randbytes(4096)
SPARSE = bytearray(b"\xff" * 4096)
for _place in RNG.sample(range(200, 3800), 9):
    SPARSE[_place] = RNG.randrange(255)


def test_swapped_words_worked_by_hand() -> None:
    """Bytes of 16-bit and of 32-bit words, and the halves of 32-bit words."""
    assert rel.swapped(b"\x01\x02\x03\x04\x05", 2) == b"\x02\x01\x04\x03\x05"
    assert rel.swapped(b"\x01\x02\x03\x04\x05", 4) == b"\x04\x03\x02\x01\x05"
    assert rel.swapped(b"\x01\x02\x03\x04\x05\x06", 4, 2) == b"\x03\x04\x01\x02\x05\x06"
    assert rel.exchanged(b"\x01\x02\x03\x04\x05") == b"\x03\x04\x01\x02\x05"


@given(st.binary(max_size=70))
def test_each_turning_undoes_itself(data: bytes) -> None:
    """Twice swapped, exchanged, taken apart and put together is the same again."""
    for size, unit in ((2, 1), (4, 1), (4, 2)):
        assert rel.swapped(rel.swapped(data, size, unit), size, unit) == data
    assert rel.exchanged(rel.exchanged(data)) == data
    assert rel.interleaved(*rel.every_other(data)) == data


@given(st.binary(min_size=1, max_size=90), st.integers(0, 6), st.integers(0, 40))
def test_partners_are_those_of_the_slow_way(data: bytes, line: int, start: int) -> None:
    """Address by address: the byte with the line the other way, or its own."""
    step = 1 << line
    slow = []
    for index, own in enumerate(data):
        other = ((start + index) ^ step) - start
        slow.append(data[other] if 0 <= other < len(data) else own)
    assert rel.partners(data, step, start) == bytes(slow)


@given(st.binary(min_size=1, max_size=60), st.data())
def test_likeness_is_that_of_the_slow_way(one: bytes, draw: st.DataObject) -> None:
    """Equal places among those that count; places where both are filling do not count."""
    other = draw.draw(st.binary(min_size=len(one), max_size=len(one)))
    fill = one[0]
    telling = [(a, b) for a, b in zip(one, other, strict=True) if (a, b) != (fill, fill)]
    equal = sum(a == b for a, b in telling)
    assert rel.likeness(one, other, fill) == (equal / len(telling) if telling else 0.0)
    assert rel.differing(one, other) == len(telling) - equal


@pytest.mark.parametrize(
    ("kind", "turned"),
    [
        (rel.SWAPPED_16, rel.swapped(DATA, 2)),
        (rel.SWAPPED_32, rel.swapped(DATA, 4)),
        (rel.WORDS_SWAPPED, rel.swapped(DATA, 4, 2)),
        (rel.EXCHANGED, rel.exchanged(DATA)),
        (rel.REPEATED, DATA * 2),
        (rel.EVEN, DATA[0::2]),
        (rel.ODD, DATA[1::2]),
        (rel.LOW, DATA[:2048]),
        (rel.HIGH, DATA[2048:]),
    ],
)
def test_each_relation_is_named_first(kind: str, turned: bytes) -> None:
    """All of it explained; with one byte in a hundred wrong, nearly all."""
    found = rel.relations(DATA, turned)
    assert found[0].kind == kind
    assert found[0].share == 1.0
    spoilt = bytearray(turned)
    for at in range(0, len(spoilt), 100):
        spoilt[at] ^= 0x5A
    found = rel.relations(DATA, bytes(spoilt))
    assert found[0].kind == kind
    assert 0.98 < found[0].share < 1.0


@pytest.mark.parametrize("by", [-2500, -17, -1, 1, 2, 255, 2500])
@pytest.mark.parametrize("data", [DATA, bytes(SPARSE)])
def test_shift_is_found(by: int, data: bytes) -> None:
    """Either way, the edge filled up or the length changed, in full and in sparse memory."""
    fill = b"\xff" * abs(by)
    for other in (
        (fill + data)[: len(data)] if by > 0 else data[-by:] + fill,
        fill + data if by > 0 else data[-by:],
    ):
        found = rel.shift(data, other)
        if other.count(0xFF) < len(other):
            assert found is not None
            assert (found.by, found.share) == (by, 1.0)


def test_byte_lost_on_the_way_shifts_what_follows() -> None:
    """Nothing before it moves; the shift says from where."""
    found = rel.shift(DATA, DATA[:1000] + DATA[1001:])
    assert found is not None
    assert (found.by, found.share) == (-1, 1.0)
    assert found.start in (1000, 1001)
    assert rel.shifted(DATA, 4095, found, 0xFF) == DATA[:1000] + DATA[1001:]


def test_unrelated_have_no_relation() -> None:
    """Equal ones have none, and empty ones have none."""
    assert rel.relations(DATA, random.Random(1).randbytes(4096)) == ()
    assert rel.relations(DATA, DATA) == ()
    assert rel.relations(b"", DATA) == ()
    assert rel.relations(DATA, b"") == ()


@pytest.mark.parametrize("kind", ["random", "one value", "period of two", "nearly blank"])
def test_sixteen_mebibytes_take_seconds(kind: str) -> None:
    """Also if every anchor is found everywhere."""
    size = 16 << 20
    one, other = {
        "random": (RNG.randbytes(size), RNG.randbytes(size)),
        "one value": (b"\x00" * size, b"\x00" * (size - 1) + b"\x01"),
        "period of two": (b"ab" * (size // 2), b"ab" * (size // 2 - 1) + b"ba"),
        "nearly blank": (b"\xff" * size, b"\xff" * 9 + b"\x00" + b"\xff" * (size - 10)),
    }[kind]
    begun = time.process_time()
    rel.relations(one, other)
    assert time.process_time() - begun < 10
