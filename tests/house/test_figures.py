"""Figures of examples are invented: no set of one trade source, no number of a real ship."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING

import pytest

from parambak.keeping.recording.texts import imo_digit_right
from tests.house.test_words import tracked

if TYPE_CHECKING:
    from pathlib import Path

# Common practice at one kind of unit. One alone may be an example; two in one file are a set.
SET = {
    "a 5 V logic band": r"logic_?supply|(?<![\d.,])(?:5(?:[.,]0\d?)?|4[.,]9\d?|50\d0m) ?V\b"
    r"|nominal = 5(?:\.0)?\b",
    "a 15 V analogue band": r"analogue_supply|(?<![\d.,])1[45](?:[.,]\d+)? ?V\b"
    r"|nominal = 15(?:\.0)?\b",
    "a 24 V floor": r"(?<![\d.,])2[1-5](?:[.,]\d+)? ?V\b|2[12]\d00 ?mV\b|low = 22\b|battery=2\d"
    r"|nominal = 24\b",
    "a 2 mm gap": r"pickup_gap|(?<![\d.,])2(?:[.,]0)? ?mm\b|unit = \"mm\"\nnominal = 2(?:\.0)?\b",
    "a pulse generator's speed": r"pulse generator|shaft_speed|(?<!\d)1200 ?(?:Hz|rpm)\b"
    r"|nominal = 1200\b",
}
# IMO numbers that no ship has. The last digit is right by the IMO rule, except in the last one.
SHIP, SISTER, SLIP, WRONG = "1234567", "1234579", "1254567", "1234568"
IMO = re.compile(r"\bimo\b", re.IGNORECASE)
NUMBER = re.compile(r"(?<![\w.+-])\d{7}(?!\w)")


def figures(text: str) -> list[str]:
    """Return which figures of the set a text has."""
    return [name for name, pattern in SET.items() if re.search(pattern, text, re.IGNORECASE)]


def texts(root: Path) -> dict[str, str]:
    """Return the texts of the repository that may hold invented figures alone."""
    files = {file.relative_to(root).as_posix(): file for file in tracked(root) if file.is_file()}
    return {
        name: file.read_bytes().decode("utf-8", "replace")
        for name, file in files.items()
        if not name.startswith("tests/outside/") and name != "tests/house/test_figures.py"
    }


@pytest.mark.skipif(not shutil.which("git"), reason="git lists the files")
def test_no_file_has_two_figures_of_the_set(root: Path) -> None:
    """Facts of common practice are check values in `tests/outside/` only."""
    found = {name: figures(text) for name, text in texts(root).items()}
    assert not {name: hits for name, hits in found.items() if len(hits) > 1}


@pytest.mark.skipif(not shutil.which("git"), reason="git lists the files")
def test_an_imo_number_is_one_that_no_ship_has(root: Path) -> None:
    """On each line of a text that speaks of IMO numbers, and in each file of tests that does."""
    for name, text in texts(root).items():
        lines = [line for line in text.splitlines() if IMO.search(line)]
        if lines and name.startswith("tests/"):
            lines = [text]
        numbers = {number for line in lines for number in NUMBER.findall(line)}
        assert numbers <= {SHIP, SISTER, SLIP, WRONG}, name
    assert all(imo_digit_right(number) for number in (SHIP, SISTER, SLIP))
    assert not imo_digit_right(WRONG)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("logic_supply=5,02V", "a 5 V logic band"),
        ("nominal = 15.0", "a 15 V analogue band"),
        ("battery 21.9 V", "a 24 V floor"),
        ("a gap of 2 mm", "a 2 mm gap"),
        ("shaft_speed=1200 Hz", "a pulse generator's speed"),
    ],
)
def test_a_figure_of_the_set_is_caught(text: str, name: str) -> None:
    """Each by its number and unit; a longer number is another figure."""
    assert figures(text) == [name]
    assert not figures("12.5 V, 48.6 V, 0.8 mm, 950 rpm, 570 Hz")
