"""The memory over the visits: a row a read, a mark where bytes differ from the row above."""

from __future__ import annotations

import re

from parambak.memory.image import Image
from parambak.reports.over_visits import MOST_VISITS, draw, grid

OLD = bytes(192)


def test_a_mark_stands_where_bytes_changed_and_is_as_high_as_their_share() -> None:
    """96 columns of two bytes; one byte of the first cell, both of the second, then back."""
    new = b"\x01\x00\x02\x03" + bytes(188)
    rows = [("2025-03-10", Image.of(OLD)), ("2026-03-12", Image.of(new)), ("x", Image.of(OLD))]
    found = grid(192, rows)
    assert found.bytes_a_cell == 2
    assert [sum(visit.changed) for visit in found.visits] == [0, 3, 3]
    assert found.visits[1].changed[:3] == (1, 2, 0)
    drawn = str(draw(found))
    marks = re.findall(r'<rect x="(\d+)" y="\d+" width="4" height="(\d+)"/>', drawn)
    assert marks == [("63", "5"), ("69", "10")] * 2
    assert drawn.count("2026-03-12") == 1


def test_a_change_of_one_byte_in_many_is_seen() -> None:
    """The mark has a least height."""
    new = bytearray(1 << 20)
    new[-1] = 1
    found = grid(1 << 20, [("a", Image.of(bytes(1 << 20))), ("b", Image.of(bytes(new)))])
    assert 'height="3"/>' in str(draw(found))


def test_the_oldest_rows_are_left_out() -> None:
    """Of more than a page holds, the newest stay."""
    rows = [(str(n), Image.of(bytes([n % 256, n // 256]))) for n in range(MOST_VISITS + 5)]
    assert grid(2, rows).visits[0].on == "5"
