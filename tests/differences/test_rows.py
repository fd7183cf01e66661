"""The changed bytes side by side: which rows are shown, with what around, and how many are not."""

from __future__ import annotations

from parambak.differences.bytes import runs
from parambak.differences.moves import Move, moves_between
from parambak.differences.rows import MOST_ROWS, ByteRow, rows_around
from parambak.memory import relations
from parambak.memory.image import Image, Range

OLD = bytes(range(64)) * 4


def rows(new: bytes, old: bytes = OLD, moves: tuple[Move, ...] = ()) -> tuple[list[ByteRow], int]:
    """Return the rows of two memories that begin at address 0."""
    sides = Image.of(old), Image.of(new)
    return rows_around(*sides, runs(*sides), moves)


def changed(*addresses: int, old: bytes = OLD) -> bytes:
    """Return a memory with all bits of these addresses turned over."""
    new = bytearray(old)
    for address in addresses:
        new[address] ^= 0xFF
    return bytes(new)


def test_a_changed_row_has_one_before_and_one_behind() -> None:
    """Eight bytes of each side."""
    shown, more = rows(changed(0x13))
    assert ([row.at for row in shown], more) == ([0x08, 0x10, 0x18], 0)
    assert shown[1] == ByteRow(0x10, "1011121314151617", "101112EC14151617")


def test_nothing_is_shown_before_the_first_address_or_behind_the_last() -> None:
    """At either end of the memory."""
    assert [row.at for row in rows(changed(0))[0]] == [0x00, 0x08]
    assert [row.at for row in rows(changed(0xFF))[0]] == [0xF0, 0xF8]
    assert [row.at for row in rows(OLD + b"x")[0]] == [0xF8, 0x100]


def test_a_byte_that_a_side_lacks_is_marked() -> None:
    """Of the longer memory."""
    assert rows(OLD + b"x")[0][1] == ByteRow(0x100, "--" * 8, "78" + "--" * 7)


def test_a_run_over_several_rows_shows_each() -> None:
    """The row of its last byte among them, and only one row around it."""
    shown, _ = rows(changed(*range(0x16, 0x29)))
    assert [row.at for row in shown] == [0x08, 0x10, 0x18, 0x20, 0x28, 0x30]
    shown, _ = rows(changed(*range(0x16, 0x28)))
    assert [row.at for row in shown] == [0x08, 0x10, 0x18, 0x20, 0x28]


def test_of_too_many_rows_the_first_are_shown_and_the_rest_counted() -> None:
    """Single changed rows far apart take three each."""
    old = bytes(0x2000)
    shown, more = rows(changed(*range(0x40, 0x1000, 0x40), old=old), old)
    assert (len(shown), more) == (MOST_ROWS, 63 - MOST_ROWS // 3)
    shown, more = rows(changed(*range(0x1000), old=old), old)
    assert len(shown) == MOST_ROWS
    assert more == MOST_ROWS + 1 - (MOST_ROWS - 1)


def test_what_a_move_explains_is_not_shown() -> None:
    """Except what it leaves unmapped, and what is outside it."""
    old = bytes(range(0x100))
    new = bytearray(old)
    new[0x40:0x80] = relations.swapped(old[0x40:0x80], 2)
    new[0x53] ^= 0x08
    new[0xA0] = 0
    sides = Image.of(old), Image.of(bytes(new))
    (move,) = moves_between(*sides, runs(*sides))
    assert (move.start, move.end, move.left) == (0x40, 0x80, (Range(0x53, 1),))
    shown, _ = rows(bytes(new), old, (move,))
    assert [row.at for row in shown] == [0x48, 0x50, 0x58, 0x98, 0xA0, 0xA8]
