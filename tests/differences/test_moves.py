"""Moved content: reported where it is, not reported where it is not, and put back."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parambak.differences import moves as move_module
from parambak.differences.bytes import runs
from parambak.differences.moves import Move, moves_between, undo_moves
from parambak.memory import relations
from parambak.memory.image import Image, Range

BASE = random.Random(8).randbytes(0x300) + b"\xff" * 0x500


def moves_of(new: bytes, old: bytes = BASE) -> tuple[Move, ...]:
    """Return the moves from one memory to another."""
    sides = Image.of(old), Image.of(new)
    return moves_between(*sides, runs(*sides))


def part(start: int, end: int, new: bytes) -> bytes:
    """Return the memory with a part of it replaced."""
    return BASE[:start] + new + BASE[end:]


@pytest.mark.parametrize(
    ("kind", "new", "start", "end"),
    [
        ("swapped-16", relations.swapped(BASE, 2), 0, 0x300),
        ("swapped-32", part(0x100, 0x180, relations.swapped(BASE[0x100:0x180], 4)), 0x100, 0x180),
        ("words-swapped", part(0, 0x40, relations.swapped(BASE[:0x40], 4, 2)), 0, 0x40),
        ("halves-exchanged", relations.exchanged(BASE), 0, 0x800),
        ("halves-exchanged", part(0, 0x200, relations.exchanged(BASE[:0x200])), 0, 0x200),
        ("shifted", part(0x80, 0x180, b"ab" + BASE[0x80:0x17E]), 0x80, 0x180),
        ("shifted", part(0x80, 0x180, BASE[0x83:0x180] + b"abc"), 0x80, 0x180),
    ],
)
def test_a_move_is_told_with_its_stretch(kind: str, new: bytes, start: int, end: int) -> None:
    """The kind, about where, and nothing left over."""
    (one,) = moves_of(new)
    assert (one.kind, one.left) == (kind, ())
    assert abs(one.start - start) <= 4
    assert abs(one.end - end) <= 4
    assert one.changed == relations.differing(BASE, new)


def test_what_changed_beside_a_move_is_left() -> None:
    """One byte in a swapped block, and another far away that is no part of it."""
    new = bytearray(part(0x100, 0x180, relations.swapped(BASE[0x100:0x180], 2)))
    new[0x111] ^= 0x40
    new[0x7F0] = 0
    (one,) = moves_of(bytes(new))
    assert (one.kind, one.left) == ("swapped-16", (Range(0x111, 1),))
    assert one.changed == relations.differing(BASE, bytes(new)) - 2


@pytest.mark.parametrize(
    "new",
    [
        random.Random(9).randbytes(0x800),
        part(0x100, 0x140, bytes(0x40)),
        part(0x100, 0x10A, relations.swapped(BASE[0x100:0x10A], 2)),
        BASE,
    ],
)
def test_what_was_not_moved_is_not_told(new: bytes) -> None:
    """Other content, a part cleared, fewer than sixteen bytes, the same."""
    assert moves_of(new) == ()


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["16", "32", "exchanged", "up", "down"]), st.integers(1, 8), st.integers(0, 5)
)
def test_a_move_undone_is_what_it_was(way: str, by: int, seed: int) -> None:
    """Except what a shift lost, which is taken from the old image."""
    old = random.Random(seed).randbytes(256) + b"\xff" * 256
    new = {
        "16": relations.swapped(old, 2),
        "32": relations.swapped(old, 4),
        "exchanged": relations.exchanged(old),
        "up": bytes(by) + old[:-by],
        "down": old[by:] + bytes(by),
    }[way]
    assert undo_moves(Image.of(old), Image.of(new), moves_of(new, old)) == Image.of(old)


def test_images_with_holes_are_no_trouble() -> None:
    """A move inside one block of several; a side with absent bytes."""
    old = Image.of(BASE).without([Range(0x200, 0x20)])
    new = Image.of(part(0, 0x100, relations.swapped(BASE[:0x100], 2))).without([Range(0x220, 4)])
    (one,) = moves_between(old, new, runs(old, new))
    assert (one.kind, one.start, one.end) == ("swapped-16", 0, 0x100)


@pytest.mark.parametrize(("altered", "lengths"), [(19, [200]), (20, [])])
def test_a_move_accounts_for_more_than_nine_changed_bytes_in_ten(
    altered: int, lengths: list[int]
) -> None:
    """Of 200 changed bytes 19 may be left, and 20 may not."""
    old = bytes(range(200))
    new = bytearray(relations.swapped(old, 2))
    for at in range(0, altered * 10, 10):
        new[at] = 0xFF
    moves = moves_of(bytes(new), old)
    assert [move.length for move in moves] == lengths
    assert [len(move.left) for move in moves] == [altered] * len(lengths)


def test_parts_beside_each_other_whose_halves_are_exchanged_are_told_apart() -> None:
    """Two quarters of a memory, each with its halves exchanged: two moves, not one muddle."""
    old = random.Random(5).randbytes(0x400)
    new = old[:0x200] + b"".join(relations.exchanged(old[at : at + 0x100]) for at in (0x200, 0x300))
    moves = moves_of(new, old)
    assert [(move.kind, move.start, move.length) for move in moves] == [
        ("halves-exchanged", 0x200, 0x100),
        ("halves-exchanged", 0x300, 0x100),
    ]


@pytest.mark.parametrize("at", [0, 0x9000])
def test_an_exchange_beside_what_was_written_anew_is_told(at: int) -> None:
    """At the first address of the memory, also if it is not 0."""
    old = random.Random(5).randbytes(0x400)
    anew = random.Random(6).randbytes(0x100)
    new = relations.exchanged(old[:0x100]) + anew + old[0x200:]
    both = Image.of(old, at), Image.of(new, at)
    (move,) = moves_between(*both, runs(*both))
    assert (move.kind, move.range) == ("halves-exchanged", Range(at, 0x100))


@pytest.mark.parametrize(("values", "count"), [(b"\1\2\3\4", 1), (b"\1\2\3", 0)])
def test_an_exchange_has_at_least_four_values_whatever_changed_before_it(
    values: bytes, count: int
) -> None:
    """What was written again at lower addresses is no part of it."""
    few = bytes(random.Random(5).choices(values, k=0x80))
    blank = b"\xff" * 0x180
    old = random.Random(1).randbytes(0x80) + blank + few + blank
    new = random.Random(2).randbytes(0x80) + blank + relations.exchanged(few) + blank
    assert len(moves_of(new, old)) == count


def test_a_move_is_told_with_the_few_words_before_it_that_it_explains() -> None:
    """Four words far below the block; what was written again above it is no part of it."""
    old = bytearray(b"\xff" * 0x800)
    old[0x100:0x108] = bytes(range(0x11, 0x19))
    old[0x298:0x2D8] = random.Random(3).randbytes(0x40)
    new = bytearray(relations.swapped(bytes(old), 2))
    new[0x404:0x444] = random.Random(4).randbytes(0x40)
    (move,) = moves_of(bytes(new), bytes(old))
    assert (move.kind, move.start, move.end) == ("swapped-16", 0x100, 0x2D8)


@pytest.mark.parametrize(("apart", "count"), [(0x10, 1), (0x80, 0)])
def test_nothing_was_moved_where_little_of_much_changed(apart: int, count: int) -> None:
    """Of words whose two bytes are the same mostly: one changed byte in eight, or fewer."""
    old = bytearray(byte for byte in random.Random(2).randbytes(0x200) for _ in "12")
    for number, at in enumerate(range(0, len(old), apart)):
        old[at : at + 2] = bytes([number + 1, number + 0x81])
    assert len(moves_of(relations.swapped(bytes(old), 2), bytes(old))) == count


def test_a_small_part_of_a_large_memory_is_seen_by_its_round_addresses() -> None:
    """Bytes that are the same in both halves do not hide where the part starts and ends."""
    old = bytearray(random.Random(6).randbytes(1 << 20))
    old[0x440:0x445], old[0x47B:0x480] = old[0x400:0x405], old[0x43B:0x440]
    new = bytearray(old)
    new[0x400:0x480] = relations.exchanged(bytes(old[0x400:0x480]))
    (move,) = moves_of(bytes(new), bytes(old))
    assert (move.kind, move.start, move.length) == ("halves-exchanged", 0x400, 0x80)


def test_few_words_among_filling_are_seen_far_up_in_the_addresses() -> None:
    """Of 8 KiB of filling at 0x4000 twenty words are swapped: what is filling does not count."""
    old = bytearray(b"\xff" * 0x2000)
    for number in range(20):
        old[number * 0x190 : number * 0x190 + 2] = bytes([number + 1, number + 0x81])
    swapped = relations.swapped(bytes(old), 2)
    both = Image.of(bytes(old), 0x4000), Image.of(swapped, 0x4000)
    (move,) = moves_between(*both, runs(*both))
    assert (move.kind, move.changed, move.left) == ("swapped-16", 40, ())
    assert undo_moves(*both, (move,)) == both[0]


@pytest.mark.parametrize(("values", "count"), [(4, 1), (3, 0)])
def test_a_move_has_at_least_four_values(values: int, count: int) -> None:
    """Bytes of three values may well look swapped by chance."""
    old = bytes(at % values + 1 for at in range(60))
    assert len(moves_of(relations.swapped(old, 2), old)) == count


@pytest.mark.parametrize(("way", "count"), [(relations.SWAPPED_16, 1), ("", 0)])
def test_of_very_many_runs_the_memory_is_looked_at_as_one(
    monkeypatch: pytest.MonkeyPatch, way: str, count: int
) -> None:
    """If every byte of it is swapped, and if no move explains them."""
    monkeypatch.setattr(move_module, "MOST_RUNS", 3)
    old = bytearray(random.Random(7).randbytes(0x100))
    for at in range(0, 0x100, 0x20):
        old[at : at + 2] = b"\xff\xff"
    new = bytearray(random.Random(8).randbytes(0x100))
    for at in range(0, 0x100, 0x20):
        new[at : at + 2] = b"\xff\xff"
    other = relations.swapped(bytes(old), 2) if way else bytes(new)
    assert len(runs(Image.of(bytes(old)), Image.of(other))) > 3
    assert [move.kind for move in moves_of(other, bytes(old))] == [way] * count


@pytest.mark.parametrize("gap", [0x20, 0x7F0])
def test_a_shift_is_undone_in_its_own_block_alone(gap: int) -> None:
    """Of a memory with a hole before or behind it, which is not filled."""
    hole = [Range(gap, 8)]
    new = part(0x80, 0x180, b"ab" + BASE[0x80:0x17E])
    both = Image.of(BASE).without(hole), Image.of(new).without(hole)
    moves = moves_between(*both, runs(*both))
    assert [move.by for move in moves] == [2]
    assert undo_moves(*both, moves) == both[0]


def test_what_stands_behind_a_move_stays_when_it_is_undone() -> None:
    """In a memory that begins far above address 0."""
    new = part(0x100, 0x180, relations.swapped(BASE[0x100:0x180], 2))
    both = Image.of(BASE, 0x9000), Image.of(new, 0x9000)
    moves = moves_between(*both, runs(*both))
    assert [(move.start, move.end) for move in moves] == [(0x9100, 0x9180)]
    assert undo_moves(*both, moves) == both[0]
