"""Is the card loaded correctly: nothing may differ before power, and little after it."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.differences.bytes import Run
from parambak.differences.two_layouts import read_renames
from parambak.layouts.decode import Decoded, decode
from parambak.layouts.load import load
from parambak.layouts.verdicts import CheckResult
from parambak.memory.image import Image
from parambak.swap.read_back import (
    AFTER_POWER,
    BEFORE_POWER,
    STAGES,
    ValuesReadBack,
    compare,
    compare_values,
    start_up,
)

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
    sound = CheckResult("settings", 0x00, "sum-8", True, "5A", "5A", None)
    broken = CheckResult("counters", 0x10, "sum-8", holds, "5A", "5B", None)
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
    """256 KiB of which every byte differs: every one is stated."""
    size = 1 << 18
    found = compare(Image.of(bytes(size)), Image.of(b"\xff" * size), AFTER_POWER, MOVING)
    assert sum(run.length for run in found.differences) == size - 4


# --- what start-up wrote ---


def start_up_words(
    differing: int, *, held_before: bool = False, **others: Image | None
) -> str | None:
    """Return what is said where so many bytes differ after power, from 0x40 on."""
    read = turned(*((0x40 + at, 0x55) for at in range(differing)))
    differences = compare(Image.of(MEANT), read, AFTER_POWER).differences
    known = {name: read if other is None else other for name, other in others.items()}
    return start_up(read, differences, held_before=held_before, memories=known)


@pytest.mark.parametrize(("differing", "named"), [(0, False), (3, False), (4, True), (9, True)])
def test_bytes_of_another_memory_are_called_so_from_four_on(differing: int, *, named: bool) -> None:
    """Fewer may be chance; the memory is named, and how many bytes."""
    words = start_up_words(differing, copy=Image.of(MEANT), spare=None)
    assert (words is not None) is named
    if words is not None:
        assert f"all {differing} bytes" in words
        assert "as in spare" in words


def test_bytes_that_are_no_other_memorys_are_not_called_so() -> None:
    """One byte of another value, or beyond its end, is enough."""
    other = turned(*((0x40 + at, 0x55) for at in range(8)), (0x48, 0x54))
    assert start_up_words(9, spare=other) is None
    two = turned(*((at, 0x55) for at in (0x40, 0x41, 0x42, 0x60)))
    differences = compare(Image.of(MEANT), two, AFTER_POWER).differences
    half = turned(*((at, 0x55) for at in (0x40, 0x41, 0x42)))
    assert start_up(two, differences, held_before=False, memories={"spare": half}) is None
    assert start_up_words(9, spare=Image.of(MEANT[:0x44])) is None


def test_what_changed_after_a_good_read_back_is_start_ups_work() -> None:
    """One byte is enough then; another memory is the better reason."""
    assert start_up_words(1) is None
    assert start_up_words(0, held_before=True) is None
    words = start_up_words(1, held_before=True)
    assert words is not None
    assert "1 byte changed since" in words
    words = start_up_words(4, held_before=True, spare=None)
    assert words is not None
    assert "as in spare" in words


# --- by values ---

OLD_FIELDS = (("ramp", 0x10, ""), ("hours", 0x11, "running = true"), ("spare", 0x12, ""))
NEW_FIELDS = (("ramp", 0x00, ""), ("hours", 0x01, "running = true"), ("curve", 0x03, ""))


def values(data: bytes, fields: tuple[tuple[str, int, str], ...], check: str = "") -> Decoded:
    """Return the values of bytes by a layout of these fields."""
    rows = (f'[[field]]\nname = "{n}"\nat = {at}\ntype = "u8"\n{m}\n' for n, at, m in fields)
    head = f'[layout]\ntitle = "invented"\nmemory = {len(data)}\n'
    return decode(load((head + "".join(rows) + check).encode(), name="l.toml"), Image.of(data))


def read_by_values(
    *new: int, stage: str = BEFORE_POWER, renames: bytes = b"", check: str = ""
) -> ValuesReadBack:
    """Compare a new card's first bytes with an old card's ramp 15, hours 7 and spare 3."""
    old = values(bytes(16) + bytes((15, 7, 3, 0)), OLD_FIELDS)
    read = values(bytes(new).ljust(8, b"\0"), NEW_FIELDS, check)
    return compare_values(old, read, read_renames(renames), stage)


LEFT_OUT = b"spare = false\n"


def test_every_old_value_must_stand_in_the_new_layout() -> None:
    """A field of the new software alone is none; one left out on purpose is not lost."""
    found = read_by_values(15, 7, renames=LEFT_OUT)
    assert found.loaded_correctly
    assert (found.differences, found.running_differences, found.lost) == ((), (), ())
    found = read_by_values(15, 7)
    assert [each.old_field for each in found.lost] == ["spare"]
    assert not found.loaded_correctly
    assert found.counts["differing_values"] == 1
    assert read_by_values(15, 7, 0, 3, renames=b'spare = "curve"\n').loaded_correctly


@pytest.mark.parametrize(
    ("stage", "new", "differing", "running"),
    [
        (BEFORE_POWER, (15, 8), ["hours"], []),
        (AFTER_POWER, (15, 8), [], ["hours"]),
        (AFTER_POWER, (16, 8), ["ramp"], ["hours"]),
        (AFTER_POWER, (16, 7), ["ramp"], []),
    ],
)
def test_only_running_values_may_change_and_only_after_power(
    stage: str, new: tuple[int, ...], differing: list[str], running: list[str]
) -> None:
    """A setting that is another one is never excused."""
    found = read_by_values(*new, stage=stage, renames=LEFT_OUT)
    assert [each.field for each in found.differences] == differing
    assert [each.field for each in found.running_differences] == running
    assert found.loaded_correctly is not bool(differing)
    assert found.counts == {
        "differing_bytes": 0,
        "by_values": True,
        "differing_values": len(differing),
        "running_values": len(running),
    }


@pytest.mark.parametrize(("total", "holds"), [(22, True), (23, False)])
def test_by_values_the_new_layouts_checks_must_hold(total: int, *, holds: bool) -> None:
    """Else the new software may refuse its own memory."""
    check = '[[check]]\nname = "sum"\nmethod = "sum-8"\nover = [[0, 3]]\nat = 4\n'
    found = read_by_values(15, 7, 0, 0, total, renames=LEFT_OUT, check=check)
    assert found.loaded_correctly is holds
    assert [each.check for each in found.failing] == ([] if holds else ["sum"])
    assert found.counts["differing_values"] == (0 if holds else 1)
