"""The map of a memory: its cells, and the drawing of a small one word for word."""

from __future__ import annotations

from parambak.layouts.load import load
from parambak.memory.image import Image, Range
from parambak.reports.memory_map import (
    ABSENT,
    CHECK,
    COLUMNS,
    FIELD,
    MOVING,
    RESERVED,
    UNKNOWN,
    WORDS,
    cells,
    draw,
    legend,
)

LAYOUT = load(
    b"""
[layout]
title = "invented"
memory = 16
byte-order = "big"
[[field]]
name = "level"
at = 0x01
type = "u16"
[[field]]
name = "hours"
at = 0x04
type = "u8"
running = true
[[reserved]]
name = "scratch"
at = 0x06
length = 2
[[check]]
name = "sum"
method = "sum-8"
over = [[0x00, 0x07]]
at = 0x08
""",
    name="l.toml",
)

GOLDEN = """\
<svg class="map" role="img" viewBox="0 0 643 22" xmlns="http://www.w3.org/2000/svg">
<text x="66" y="9">+0x00</text>
<text x="138" y="9">+0x08</text>
<text x="210" y="9">+0x10</text>
<text x="282" y="9">+0x18</text>
<text x="354" y="9">+0x20</text>
<text x="426" y="9">+0x28</text>
<text x="498" y="9">+0x30</text>
<text x="570" y="9">+0x38</text>
<text x="62" y="19" text-anchor="end">0x0000</text>
<rect x="66" y="12" width="9" height="9" fill="#fff" stroke="#999" stroke-width=".4"/>
<rect x="75" y="12" width="18" height="9" fill="#ddd" stroke="#999" stroke-width=".4"/>
<rect x="93" y="12" width="9" height="9" fill="#fff" stroke="#999" stroke-width=".4"/>
<rect x="102" y="12" width="9" height="9" fill="url(#moving)" stroke="#999" stroke-width=".4"/>
<rect x="111" y="12" width="9" height="9" fill="#fff" stroke="#999" stroke-width=".4"/>
<rect x="120" y="12" width="18" height="9" fill="url(#reserved)" stroke="#999" stroke-width=".4"/>
<rect x="138" y="12" width="9" height="9" fill="url(#check)" stroke="#999" stroke-width=".4"/>
<rect x="147" y="12" width="27" height="9" fill="#fff" stroke="#999" stroke-width=".4"/>
<rect x="174" y="12" width="36" height="9" fill="url(#absent)" stroke="#999" stroke-width=".4"/>
<rect x="77" y="14" width="5" height="5"/>
<rect x="140" y="14" width="5" height="5"/>
</svg>"""


def test_a_small_memory_is_drawn_so() -> None:
    """Each sort of cell has a pattern of its own, a changed one a black mark."""
    found = cells(16, Image.of(bytes(12)), LAYOUT, [Range(1, 1), Range(8, 1)])
    assert draw(found) == GOLDEN
    assert [words for _, words in legend(found)] == [*WORDS, "changed"]


def test_the_legend_holds_what_is_shown_alone() -> None:
    """Without a layout nothing is known, and nothing changed."""
    found = cells(4, Image.of(bytes(4)), None, [])
    assert [words for _, words in legend(found)] == [WORDS[UNKNOWN]]


def test_what_has_no_bytes_has_no_fields() -> None:
    """A field beyond what was read stays absent."""
    found = cells(16, Image.of(bytes(2)), LAYOUT, [])
    assert list(found.kinds) == [UNKNOWN, FIELD, *[ABSENT] * 14]


def test_each_sort_goes_before_what_says_less() -> None:
    """Of a cell of several bytes, the sort that says most is shown."""
    size = COLUMNS * 32 * 4
    found = cells(size, Image.of(bytes(12)), LAYOUT, [Range(3, 2)])
    assert found.bytes_a_cell == 4
    assert list(found.kinds[:4]) == [FIELD, MOVING, CHECK, ABSENT]
    assert found.changed == {0, 1}
    assert RESERVED < FIELD < MOVING < CHECK


def test_a_map_is_bounded_whatever_the_memory() -> None:
    """A chip's last byte far up, and a change beyond the map."""
    far = Image.of(b"\x01", 0xFFFF_FFFF)
    found = cells(far.end, far, LAYOUT, [Range(0, 2**32)])
    assert len(found.kinds) <= COLUMNS * 32
    assert found.kinds[-1] == UNKNOWN
    assert len(draw(found)) < 300_000
