"""Raw numbers to scaled values and back, exact, by whole-number arithmetic.

A value is raw * scale + offset, or lies on the straight lines between points; two points
reach beyond their ends, three or more do not. If no decimal is exact (a division by
3276), the text is rounded half to even at so many digits that neighbouring raw numbers
stay apart; comparisons with limits always use the exact fraction.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.decimals import (
    exact,
    places_of,
    rounded,
    terminating_places,
    trimmed,
    with_point,
)

if TYPE_CHECKING:
    from parambak.layouts.model import Field

MOST_PLACES = 30
PLACES_OF_A_FLOAT = 6  # digits of a float on a curve without an exact decimal


class Line(NamedTuple):
    """A straight piece: value = raw * slope + base."""

    slope: Fraction
    base: Fraction


class Scaling:
    """The way from a raw number to its value and back for one field.

    `starts` holds the raw number at which each of `lines` begins; `first` and `last` are
    the ends of a table, None if a line has no end.
    """

    def __init__(
        self, lines: list[Line], points: list[int], *, written: int, decimals: int | None
    ) -> None:
        self.lines = lines
        self.starts = points[1:-1]
        bounded = len(lines) > 1
        self.first = points[0] if bounded else None
        self.last = points[-1] if bounded else None
        self.written = written
        self.decimals = decimals
        self.trims = False
        self.places = self._places()
        factor = 10**self.places
        self._whole = [self._in_units(line, factor) for line in lines]

    def _places(self) -> int:
        numbers = [number for line in self.lines for number in line]
        needed = [terminating_places(number) for number in numbers]
        exact_places = max((places for places in needed if places is not None), default=0)
        if self.decimals is not None:
            return self.decimals
        if None not in needed:
            self.trims = exact_places > self.written
            return max(self.written, exact_places)
        smallest = min(abs(line.slope) for line in self.lines if line.slope)
        places = 0
        while places < MOST_PLACES and Fraction(1, 10**places) > smallest:
            places += 1
        return max(places, self.written)

    @staticmethod
    def _in_units(line: Line, factor: int) -> tuple[int, int, int]:
        slope, base = line.slope * factor, line.base * factor
        under = slope.denominator * base.denominator
        return int(slope * under), int(base * under), under

    def _line(self, raw: int | Fraction) -> int | None:
        """Return which line `raw` lies on, None outside the table."""
        if self.first is None or self.last is None:
            return 0
        if not self.first <= raw <= self.last:
            return None
        return bisect_right(self.starts, raw)

    def value(self, raw: int | Fraction) -> Fraction | None:
        """Return the exact value of `raw`, None outside the curve."""
        index = self._line(raw)
        if index is None:
            return None
        line = self.lines[index]
        return raw * line.slope + line.base

    def text(self, raw: int | Fraction) -> str | None:
        """Return the value of `raw` as text, None outside the curve."""
        if not isinstance(raw, int):
            return self._text_of_fraction(raw)
        index = self._line(raw)
        if index is None:
            return None
        times, plus, under = self._whole[index]
        units = raw * times + plus
        if under != 1:
            units, rest = divmod(units, under)
            if 2 * rest > under or (2 * rest == under and units & 1):
                units += 1
        text = with_point(units, self.places)
        return trimmed(text, self.written) if self.trims else text

    def units(self) -> tuple[int, int] | None:
        """Return times and plus with which raw * times + plus is the value in last digits.

        None if that, and `places`, do not give all that `text` does.
        """
        times, plus, under = self._whole[0]
        return None if len(self.lines) > 1 or self.trims or under != 1 else (times, plus)

    def _text_of_fraction(self, raw: Fraction) -> str | None:
        value = self.value(raw)
        if value is None:
            return None
        if self.decimals is not None:
            return rounded(value, self.decimals)
        text = exact(value)
        return rounded(value, PLACES_OF_A_FLOAT) if text is None else text

    def raw(self, value: Fraction) -> Fraction | None:
        """Return the raw number, not yet whole, of `value`: on the first line that has it."""
        ends = [self.first, *self.starts, self.last]
        for line, start, end in zip(self.lines, ends, ends[1:], strict=False):
            if line.slope == 0:
                continue
            raw = (value - line.base) / line.slope
            if (start is None or raw >= start) and (end is None or raw <= end):
                return raw
        return None

    def raw_bounds(self, low: Fraction | None, high: Fraction | None) -> tuple[int, int] | None:
        """Return the lowest and highest whole raw number inside the limits.

        None if several lines make that more than two bounds.
        """
        if len(self.lines) != 1:
            return None
        slope, base = self.lines[0]
        if slope < 0:
            low, high = high, low
        widest = 1 << 128
        return (
            -widest if low is None else ceil((low - base) / slope),
            widest if high is None else floor((high - base) / slope),
        )


def scaling(field: Field) -> Scaling | None:
    """Return the scaling of `field`, None if a value is the raw number itself."""
    if field.curve:
        pairs = [(raw, Fraction(value)) for raw, value in field.curve]
        lines = []
        for (raw, value), (next_raw, next_value) in pairwise(pairs):
            slope = (next_value - value) / (next_raw - raw)
            lines.append(Line(slope, value - raw * slope))
        written = max(places_of(value) for _, value in field.curve)
        return Scaling(lines, [raw for raw, _ in pairs], written=written, decimals=field.decimals)
    if (field.scale, field.offset, field.fraction, field.decimals) == (None, None, None, None):
        return None
    slope = Fraction(1 if field.scale is None else field.scale) / (1 << (field.fraction or 0))
    given = [number for number in (field.scale, field.offset) if number is not None]
    line = Line(slope, Fraction(field.offset or 0))
    return Scaling(
        [line], [0, 0], written=max(map(places_of, given), default=0), decimals=field.decimals
    )
