"""Is the card loaded correctly: nothing may differ before power, and little after it."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.differences.bytes import Run
from parambak.layouts.verdicts import CheckResult
from parambak.memory.image import Image
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER, STAGES, compare

MEANT = random.Random(3).randbytes(512)
# A counter of four bytes, and the low three bits of a byte.
MOVING = dict.fromkeys(range(0x10, 0x14), 0xFF) | {0x20: 0x07}


def turned(*bits: tuple[int, int]) -> Image:
    """Return the copy with these bits turned, each an address and a mask."""
    data = bytearray(MEANT)
    for address, mask in bits:
        data[address] ^= mask
    return Image.of(bytes(data))


@pytest.mark.parametrize("stage", STAGES)
def test_the_same_bytes_are_loaded_correctly(stage: str) -> None:
    """Nothing differs, and nothing is reported as expected."""
    found = compare(Image.of(MEANT), turned(), stage, MOVING)
    assert found.loaded_correctly
    assert (found.stage, found.differences, found.running_differences) == (stage, (), ())


@pytest.mark.parametrize("seed", range(400))
def test_one_flipped_bit_anywhere_fails_before_power(seed: int) -> None:
    """Also in a field that is expected to change: nothing has run yet."""
    chance = random.Random(seed)
    address, bit = chance.randrange(512), chance.randrange(8)
    found = compare(Image.of(MEANT), turned((address, 1 << bit)), BEFORE_POWER, MOVING)
    assert not found.loaded_correctly
    old = MEANT[address]
    assert found.differences == (Run(address, bytes([old]), bytes([old ^ 1 << bit])),)


@pytest.mark.parametrize("address", [*range(0x0F, 0x15), *range(0x1F, 0x22), 0, 511])
@pytest.mark.parametrize("bit", range(8))
def test_after_power_a_bit_fails_unless_it_is_masked(address: int, bit: int) -> None:
    """Bit by bit: those of the counter and the three low ones may move, no other."""
    found = compare(Image.of(MEANT), turned((address, 1 << bit)), AFTER_POWER, MOVING)
    may_move = bool(MOVING.get(address, 0) >> bit & 1)
    assert found.loaded_correctly == may_move
    assert bool(found.running_differences) == may_move
    assert bool(found.differences) != may_move


@pytest.mark.parametrize("holds", [False, None])
def test_after_power_a_check_must_hold_even_where_its_bytes_may_change(holds: bool | None) -> None:
    """A stored sum that may move is no leave to be wrong: the block is not what was loaded."""
    sound = CheckResult("settings", 0x00, True, "5A", "5A", "sum-8")
    broken = CheckResult("counters", 0x10, holds, "5A", "5B", "sum-8")
    moved = turned((0x10, 0x01))
    found = compare(Image.of(MEANT), moved, AFTER_POWER, MOVING, (sound, broken))
    assert found.differences == ()
    assert found.failing == (broken,)
    assert not found.loaded_correctly
    assert compare(Image.of(MEANT), moved, AFTER_POWER, MOVING, (sound,)).loaded_correctly


def test_a_masked_and_another_bit_of_one_byte_fail() -> None:
    """The mask excuses its own bits alone."""
    found = compare(Image.of(MEANT), turned((0x20, 0x0F)), AFTER_POWER, MOVING)
    assert not found.loaded_correctly


def test_a_stretch_over_both_is_told_in_its_parts() -> None:
    """What may move is reported apart from what may not, in address order."""
    bits = [(address, 0x80) for address in range(0x0E, 0x16)]
    found = compare(Image.of(MEANT), turned(*bits), AFTER_POWER, MOVING)
    assert [(run.start, run.length) for run in found.differences] == [(0x0E, 2), (0x14, 2)]
    assert [(run.start, run.length) for run in found.running_differences] == [(0x10, 4)]


@pytest.mark.parametrize("stage", STAGES)
def test_sizes_that_differ_fail(stage: str) -> None:
    """Too short, too long, at other addresses: even where a mask covers the bytes."""
    moving = dict.fromkeys(range(1024), 0xFF)
    for read in (
        Image.of(MEANT[:511]),
        Image.of(MEANT[:256]),
        Image.of(MEANT + b"\xff"),
        Image.of(MEANT, 1),
        Image.of(MEANT).part(0, 0x10),
        Image(()),
    ):
        assert not compare(Image.of(MEANT), read, stage, moving).loaded_correctly


def test_without_a_layout_nothing_may_differ_after_power_either() -> None:
    """No masks: every bit counts."""
    assert not compare(Image.of(MEANT), turned((0x10, 1)), AFTER_POWER).loaded_correctly
    assert not compare(Image.of(MEANT), turned((0x10, 1)), AFTER_POWER, {}).loaded_correctly


@given(
    st.dictionaries(st.integers(0, 63), st.integers(1, 255), max_size=20),
    st.dictionaries(st.integers(0, 63), st.integers(0, 255), max_size=20),
)
def test_the_answer_is_that_of_a_plain_loop(bits: dict[int, int], moving: dict[int, int]) -> None:
    """Correct where no bit outside a mask differs; every differing byte is in one list."""
    selected = Image.of(MEANT[:64])
    read = turned(*bits.items()).part(0, 64)
    found = compare(selected, read, AFTER_POWER, moving)
    wrong = {address for address, mask in bits.items() if mask & ~moving.get(address, 0)}
    assert found.loaded_correctly == (not wrong)
    for listed, expected in (
        (found.differences, wrong),
        (found.running_differences, set(bits) - wrong),
    ):
        addresses = [a for run in listed for a in range(run.start, run.range.end)]
        assert addresses == sorted(expected)
        assert all(read.read(run.start, run.length) == run.new for run in listed)


def test_a_card_that_reads_back_blank_is_compared_at_once() -> None:
    """256 KiB of which every byte differs: every one is told."""
    size = 1 << 18
    found = compare(Image.of(bytes(size)), Image.of(b"\xff" * size), AFTER_POWER, MOVING)
    assert sum(run.length for run in found.differences) == size - 4
