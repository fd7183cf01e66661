from __future__ import annotations

from contextlib import suppress
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.errors import ParambakError
from parambak.find.panel_values import MOST_BYTES, MOST_COPIES, MOST_VALUES, parse


def test_a_line_is_a_name_a_value_and_a_unit() -> None:
    """Blanks and comments are passed over; one value holds for every copy."""
    values = parse(b"\xef\xbb\xbf# panel\r\n\r\n ramp up = 12.5 s # soft\r\n", 2)
    (panel_value,) = values.panel_values
    assert (panel_value.name, panel_value.line, panel_value.unit) == ("ramp up", 3, "s")
    assert [each and each.number for each in panel_value.shown] == [Fraction("12.5")] * 2
    assert not panel_value.changed


def test_two_visits_stand_behind_each_other() -> None:
    """`|` separates the copies' values, `?` is one not seen."""
    values = parse(b"a = 12.5 s | 9.0 s\nb = ? | -3\n", 2)
    assert values.panel_values[0].changed
    assert values.panel_values[0].shown[1] is not None
    assert values.panel_values[0].shown[1].places == 1
    assert values.panel_values[1].seen == (1,)


def test_a_decimal_comma_is_taken_and_echoed() -> None:
    """A comma is a point, a long minus a minus, and 0x a whole number: each is stated."""
    values = parse("a = 12,5 s\nb = \u22123\nc = 0x1F\n".encode(), 1)
    assert [each.shown[0] and each.shown[0].text for each in values.panel_values] == [
        "12.5",
        "-3",
        "31",
    ]
    assert values.notes == ("line 1: 12,5 taken as 12.5", "line 3: 0x1F taken as the number 31")


@pytest.mark.parametrize("text", ['"12.5 s"', "TC-2", "06:30", "2031-12-24", '"a | b # c"'])
def test_what_is_no_number_is_text(text: str) -> None:
    """Quoted, or not beginning as a number with a unit."""
    (panel_value,) = parse(f"a = {text}".encode(), 1).panel_values
    assert panel_value.shown[0] is not None
    assert panel_value.shown[0].number is None
    assert panel_value.shown[0].text == text.strip('"')


@pytest.mark.parametrize(
    ("code", "line", "data"),
    [
        ("layout-find-none", None, b"# nothing\n"),
        ("layout-find-not-utf8", 2, b"a = 1\nb = \xff\n"),
        ("layout-find-hidden", 1, b"a\x07 = 1\n"),
        ("layout-find-hidden", 1, "a\u202e = 1\n".encode()),
        ("layout-find-shape", 2, b"a = 1\nb 2\n"),
        ("layout-find-shape", 1, b"= 2\n"),
        ("layout-find-shape", 1, b"a =\n"),
        ("layout-find-shape", 1, b"a = 1 |\n"),
        ("layout-find-shape", 1, b'a = "open\n'),
        ("layout-find-shape", 1, b"a = 1 " + b"x" * 41),
        ("layout-find-shape", 1, b"a" * 81 + b" = 1"),
        ("layout-find-shape", 1, b"a = " + b"t" * 300),
        ("layout-find-number", 1, b"a = 1,234,567\n"),
        ("layout-find-number", 1, b"a = 1.234,5\n"),
        ("layout-find-number", 1, b"a = 1'000\n"),
        ("layout-find-number", 1, b"a = " + b"1" * 5000),
        ("layout-find-number", 1, b"a = 0x" + b"1" * 5000),
        ("layout-find-count", 1, b"a = 1 | 2 | 3\n"),
        ("layout-find-count", 1, b"a = ? | ?\n"),
        ("layout-find-kind", 1, b"a = 1 | text\n"),
        ("layout-find-kind", 1, b"a = 1 s | 1 ms\n"),
        ("layout-find-twice", 2, b"Ramp = 1\nramp = 2\n"),
        ("layout-find-too-large", None, b"#" * (MOST_BYTES + 1)),
        ("layout-find-too-large", 501, b"".join(b"a%d = 1\n" % n for n in range(MOST_VALUES + 1))),
    ],
)
def test_a_wrong_list_is_refused_at_its_line(code: str, line: int | None, data: bytes) -> None:
    """Each defect has its own code, and names its line, what was expected and found."""
    with pytest.raises(ParambakError) as refused:
        parse(data, 2)
    assert (refused.value.code, refused.value.line) == (code, line)
    assert refused.value.expected
    assert refused.value.next


def test_the_example_of_the_page_is_read_as_it_stands() -> None:
    """formats/layout-find.md shows a list that this reads, with its notes."""
    page = (Path(__file__).parents[2] / "formats" / "layout-find.md").read_text(encoding="utf-8")
    example = page.partition("```text\n")[2].partition("```")[0]
    values = parse(example.encode(), 2)
    assert [each.name for each in values.panel_values][-2:] == ["P1.07", "maker's type"]
    assert values.notes == ("line 3: 4,20 taken as 4.20",)
    assert values.panel_values[0].changed


def test_too_many_copies_are_refused() -> None:
    """The number of copies is bounded."""
    with pytest.raises(ParambakError) as refused:
        parse(b"a = 1", MOST_COPIES + 1)
    assert refused.value.code == "layout-find-copies"


@given(st.binary(max_size=200) | st.text(max_size=80).map(str.encode))
def test_nothing_but_a_refusal_comes_of_any_bytes(data: bytes) -> None:
    """Any input gives values or a ParambakError."""
    with suppress(ParambakError):
        parse(data, 2)
