"""The values of a field as one small line: a character for each read, its height the value."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

BLOCKS = "▁▂▃▄▅▆▇█"
PLAIN = "_.-=*#"
"""For an output that cannot write blocks: from low to high."""
LETTERS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
NO_VALUE = "?"
MOST_DIGITS = 80
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?(E[+-][0-9]{1,3})?")


def number_of(text: str) -> Fraction | None:
    """Return the number that a value is written as; None if it is none."""
    if len(text) > MOST_DIGITS or _NUMBER.fullmatch(text) is None:
        return None
    return Fraction(text)


def small_line(values: Sequence[str], width: int, heights: str = BLOCKS) -> str:
    """Return the values, oldest first, as a line of `width` characters at most.

    A number is as high as its position between the lowest and the highest; of anything else
    each value has a letter, in the order in which it comes. If there are more values than
    characters, one character shows several: the one farthest from the one before.
    """
    numbers = [number_of(value) for value in values]
    exact = [number for number in numbers if number is not None]
    if len(exact) * 2 > len(values):
        return _heights(_fewer(numbers, width), heights)
    letters = {value: at for at, value in enumerate(dict.fromkeys(values))}
    places = _fewer([Fraction(letters[value]) for value in values], width)
    return "".join(_letter(place) for place in places)


def _letter(place: Fraction | None) -> str:
    return LETTERS[int(place) % len(LETTERS)] if place is not None else NO_VALUE


def _fewer(values: Sequence[Fraction | None], width: int) -> list[Fraction | None]:
    """Return at most `width` values, each the one of its part that is farthest from the last."""
    if len(values) <= width:
        return list(values)
    kept: list[Fraction | None] = []
    for at in range(width):
        part = values[at * len(values) // width : (at + 1) * len(values) // width]
        last = next((value for value in reversed(kept) if value is not None), None)
        numbers = [value for value in part if value is not None]
        if not numbers:
            kept.append(None)
        elif last is None:
            kept.append(numbers[-1])
        else:
            kept.append(max(numbers, key=lambda number: abs(number - last)))
    return kept


def _heights(values: Sequence[Fraction | None], heights: str) -> str:
    exact = [value for value in values if value is not None]
    low, high = min(exact), max(exact)
    top = len(heights) - 1

    def drawn(value: Fraction | None) -> str:
        if value is None:
            return NO_VALUE
        return heights[round((value - low) * top / (high - low))] if high > low else heights[0]

    return "".join(drawn(value) for value in values)
