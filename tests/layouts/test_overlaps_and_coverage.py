"""Which fields overlap, and which bytes are explained: the cases that are easily missed."""

from __future__ import annotations

import pytest

from parambak.layouts import coverage
from parambak.layouts.coverage import picture
from parambak.layouts.load import check, load

HEAD = b'[layout]\ntitle = "T"\nmemory = 64\nbyte-order = "big"\n'


def area(name: str, at: int, length: int, *lines: str) -> bytes:
    """Return a reserved area."""
    keys = (f'name = "{name}"', f"at = {at}", f"length = {length}", *lines)
    return ("[[reserved]]\n" + "\n".join(keys) + "\n").encode()


def field(name: str, at: int, kind: str = "u8") -> bytes:
    """Return a field."""
    return f'[[field]]\nname = "{name}"\nat = {at}\ntype = "{kind}"\n'.encode()


def test_what_lies_in_a_wide_entry_is_noted_behind_a_narrow_one_too() -> None:
    """The widest entry so far is compared with all that follow, not only the last."""
    mistakes = check(HEAD + area("wide", 0, 32) + field("first", 4) + field("second", 16, "u16"))
    assert [(mistake.code, mistake.found) for mistake in mistakes] == [
        ("layout-overlap", '"first" at 0x0004, "wide" at 0x0000 to 0x001F'),
        ("layout-overlap", '"second" at 0x0010 to 0x0011, "wide" at 0x0000 to 0x001F'),
    ]


def test_entries_that_only_touch_do_not_overlap() -> None:
    """The first byte after one may be the first of the next."""
    assert check(HEAD + area("wide", 0, 32) + field("next", 32)) == ()


@pytest.mark.parametrize(
    ("lines", "bits"), [((), 0), (("running = true",), 0xFF), (("volatile = true",), 0xFF)]
)
def test_a_running_byte_in_a_reserved_area_is_explained(lines: tuple[str, ...], bits: int) -> None:
    """A reserved area explains no change, unless it is declared to change by itself."""
    layout = load(HEAD + area("spare", 8, 4, *lines) + field("a", 2))
    explained = coverage.explained_bits(layout)
    assert explained[8:12] == bytes([bits]) * 4
    assert explained[2] == 0xFF
    assert sum(explained) == 0xFF + 4 * bits


def test_a_map_of_cells_of_several_bytes() -> None:
    """Each cell shows what is at its own addresses."""
    layout = load(HEAD + field("a", 9) + area("spare", 32, 8))
    (row,) = picture(layout, columns=64)
    assert row.cells == "." * 9 + "#" + "." * 22 + "-" * 8 + "." * 24
    large = HEAD.replace(b"64", b"65536") + field("a", 40000) + area("spare", 65535, 1)
    rows = picture(load(large), columns=64)
    cells = "".join(row.cells for row in rows)
    assert {row.bytes_a_cell for row in rows} == {16}
    assert [place for place, cell in enumerate(cells) if cell != "."] == [2500, 4095]
    assert (cells[2500], cells[4095]) == ("#", "-")
