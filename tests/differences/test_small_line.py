"""The small line: as many characters as values, or as there is room for."""

from __future__ import annotations

import pytest

from parambak.differences.small_line import PLAIN, small_line


@pytest.mark.parametrize(
    ("values", "line"),
    [
        (["1", "2", "3"], "▁▅█"),
        (["-1.5", "0", "1.5"], "▁▅█"),
        (["7", "7"], "▁▁"),
        (["9.0", "blank", "12.5"], "▁?█"),
        (["bridge", "local", "bridge"], "aba"),
        ([], ""),
    ],
)
def test_numbers_have_heights_and_names_have_letters(values: list[str], line: str) -> None:
    """What is no number among numbers is marked."""
    assert small_line(values, 16) == line


def test_a_plain_line_is_ascii() -> None:
    """From low to high."""
    assert small_line([str(number) for number in range(6)], 16, PLAIN) == PLAIN


def test_a_long_line_keeps_what_stands_out() -> None:
    """One value of a thousand that is far off is still seen."""
    values = ["10"] * 1000
    values[617] = "90"
    line = small_line(values, 50)
    assert len(line) == 50
    assert line.count("█") == 1


def test_a_number_of_absurd_length_is_no_number() -> None:
    """Nothing takes long."""
    assert small_line(["9" * 5000, "1e999999999"], 10) == "ab"


def test_a_character_for_several_values_is_the_one_farthest_from_the_last() -> None:
    """Below it as well as above: 10 after 50 is shown rather than 60."""
    values = ["50", "50", "10", "60", "60", "50"]
    assert small_line(values, 3) == "▇▁█"
