"""Card sheets: entries of any names, hostile files refused, two compared entry by entry."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import SheetRefused
from parambak.swap.card_sheet import MAX_BYTES, NOT_STATED, Entry, compare_sheets, load_sheet

SHEET = b"""
card-type = "TC-2"
clock-mhz = 7.3728
terminated = true
fitted = 2026-03-01
"node address" = 0x11

[links]
J1 = "1-2"
J2 = false

[[program]]
place = "U7"
version = "3.1"

[[program]]
place = "U8"
switches = [[1, 0], []]
"""


def test_entries_are_joined_to_dotted_names() -> None:
    """Tables and lists of any depth; every value as a text."""
    assert load_sheet(SHEET) == {
        "card-type": "TC-2",
        "clock-mhz": "7.3728",
        "terminated": "yes",
        "fitted": "2026-03-01",
        '"node address"': "17",
        "links.J1": "1-2",
        "links.J2": "no",
        "program.1.place": "U7",
        "program.1.version": "3.1",
        "program.2.place": "U8",
        "program.2.switches.1.1": "1",
        "program.2.switches.1.2": "0",
        "program.2.switches.2": "none",
    }


def test_a_number_with_a_point_is_kept_as_it_is_typed() -> None:
    """Software 3.20 is another than 3.2: a swap must not pass for want of a nought."""
    unit, card = load_sheet(b"software = 3.20\n"), load_sheet(b"software = 3.2\n")
    assert compare_sheets(unit, card) == (Entry("software", "3.20", "3.2", same=False),)


def test_a_quoted_name_with_a_dot_is_not_a_table() -> None:
    """Neither hides the other."""
    sheet = load_sheet(b'"a.b" = 1\n[a]\nb = 2\n')
    assert sheet == {'"a.b"': "1", "a.b": "2"}


@pytest.mark.parametrize(
    "data",
    [
        b"a = ",
        b"a = 1\na = 2\n",
        b"\xff\xfe",
        b"a = '\x00'",
        b"\xef\xbb\xbfa = 1",
        b"a = " + b"[" * 50_000,
        b"a = " + b"{a = " * 50_000,
        b".".join([b"a"] * 50_000) + b" = 1",
        b"[" + b".".join([b"a"] * 50_000) + b"]\nb = 1",
        b"".join(b"[x%d." % n + b".".join([b"a"] * 990) + b"]\n" for n in range(120)),
        b"a = 0x" + b"F" * 100_000,
        b"a = " + b"9" * 100_000,
        b"a = " + b"[" * 40 + b"1" + b"]" * 40,
        b"%PDF-1.4",
        b"PK\x03\x04",
    ],
)
def test_a_hostile_sheet_is_refused_at_once(data: bytes) -> None:
    """sheet-text, whatever breaks: syntax, encoding, nesting, numbers without end."""
    with pytest.raises(SheetRefused) as refusal:
        load_sheet(data, "s.toml")
    assert (refusal.value.code, refusal.value.file) == ("sheet-text", "s.toml")
    assert len(refusal.value.found or "") <= 200


def test_a_sheet_larger_than_a_page_is_refused() -> None:
    """sheet-size, before it is read."""
    with pytest.raises(SheetRefused) as refusal:
        load_sheet(b"#" * (MAX_BYTES + 1))
    assert refusal.value.code == "sheet-size"
    assert load_sheet(b"# a\n" * (MAX_BYTES // 4)) == {}
    assert load_sheet(b"a = '" + b"x" * 1_990 + b"'") == {"a": "x" * 1_990}


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8")))
def test_no_bytes_escape_as_another_error(data: bytes) -> None:
    """Entries, or SheetRefused."""
    try:
        sheet = load_sheet(data)
    except SheetRefused:
        return
    assert all(isinstance(value, str) for value in sheet.values())


def test_two_sheets_are_compared_entry_by_entry() -> None:
    """The same, another, and not stated on one of them: three answers."""
    unit = {"type": "TC-2", "links.J1": "1-2", "version": "3.1"}
    card = {"type": "TC-2", "links.J1": "2-3", "battery": "2026"}
    assert compare_sheets(unit, card) == (
        Entry("battery", NOT_STATED, "2026", None),
        Entry("links.J1", "1-2", "2-3", same=False),
        Entry("type", "TC-2", "TC-2", same=True),
        Entry("version", "3.1", NOT_STATED, None),
    )


NAMES = st.text(st.sampled_from("ab.[]'\"\\ \n0"), min_size=1, max_size=4)
SHEETS = st.dictionaries(NAMES, st.sampled_from(["1", "2", ""]), max_size=6)


@given(SHEETS, SHEETS)
def test_the_comparison_is_that_of_a_plain_loop(unit: dict[str, str], card: dict[str, str]) -> None:
    """Names of any characters, brackets and quotation marks among them."""
    found = {entry.name: entry.same for entry in compare_sheets(unit, card)}
    assert found == {
        name: unit[name] == card[name] if name in unit and name in card else None
        for name in {*unit, *card}
    }
