"""What the values already placed teach about the memory: types, byte order, scales.

Every lesson is a weighted count over the candidates of all values; a value's own part
is left out when it is judged, so that no candidate speaks for itself.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from parambak.find.shares import scale_share, type_share

if TYPE_CHECKING:
    from collections.abc import Hashable

    from parambak.find.reading import Reading

_TRUST_TYPE = 3.0
_TRUST_ORDER = 1.0
_TRUST_SCALE = 2.0
_TRUST_ALIGNED = 2.0
"""How many values a lesson must rest on to outweigh what is common elsewhere."""


@dataclass
class Lesson:
    """A weighted count of one property."""

    counts: Counter[Hashable] = field(default_factory=Counter)
    total: float = 0.0

    def add(self, key: Hashable, weight: float) -> None:
        """Count `key` with a weight from 0 to 1."""
        self.counts[key] += weight  # type: ignore[assignment]  # a Counter of floats
        self.total += weight

    def share(self, key: Hashable, before: float, trust: float, own: Lesson | None) -> float:
        """Return the share of `key`, `before` being what it is elsewhere, `own` left out."""
        count = self.counts[key] - (own.counts[key] if own else 0.0)
        total = self.total - (own.total if own else 0.0)
        return (max(0.0, count) + trust * before) / (max(0.0, total) + trust)


@dataclass
class Lessons:
    """All lessons, of one value or of all."""

    types: Lesson = field(default_factory=Lesson)
    orders: Lesson = field(default_factory=Lesson)
    aligned: Lesson = field(default_factory=Lesson)
    scales: dict[str, Lesson] = field(default_factory=dict)

    def learn(self, reading: Reading, at: int, unit: str, weight: float) -> None:
        """Take in a reading at a place, as far as it is believed."""
        self.types.add((reading.type, reading.length), weight)
        if reading.order:
            self.orders.add(reading.order, weight)
            self.aligned.add(_alignment(at, reading.length), weight)
        if reading.type != "text":
            key = (reading.scale, reading.fraction)
            self.scales.setdefault(unit, Lesson()).add(key, weight)

    def take_in(self, other: Lessons) -> None:
        """Add the lessons of one value to those of all."""
        for mine, its in (
            (self.types, other.types),
            (self.orders, other.orders),
            (self.aligned, other.aligned),
            *(
                (self.scales.setdefault(unit, Lesson()), each)
                for unit, each in other.scales.items()
            ),
        ):
            for key, weight in its.counts.items():
                mine.add(key, weight)

    def share(self, reading: Reading, unit: str, places: int, own: Lessons | None) -> float:
        """Return how common the reading is here, its place apart."""
        if reading.type == "text":
            return reading.share
        type_before = type_share(reading.type)
        key = (reading.type, reading.length)
        own_of = own or Lessons()
        share = reading.share * self.types.share(key, type_before, _TRUST_TYPE, own_of.types)
        share /= type_before
        if reading.order:
            share *= 2 * self.orders.share(reading.order, 0.5, _TRUST_ORDER, own_of.orders)
        lesson = self.scales.get(unit)
        if lesson:
            before = scale_share(reading, places)
            of_unit = own_of.scales.get(unit)
            now = lesson.share((reading.scale, reading.fraction), before, _TRUST_SCALE, of_unit)
            share *= now / before
        return share

    def placing(self, at: int, length: int, own: Lessons | None) -> float:
        """Return how much likelier the alignment of a place makes it: 1 where it says nothing."""
        unit = _unit(length)
        if unit == 1:
            return 1.0
        key = _alignment(at, length)
        before = 1 / unit if key[1] else 1 - 1 / unit
        other = (unit, not key[1])
        mine = own.aligned if own else Lesson()
        yes = max(0.0, self.aligned.counts[key] - mine.counts[key]) + _TRUST_ALIGNED * before
        no = max(0.0, self.aligned.counts[other] - mine.counts[other])
        return yes / (yes + no + _TRUST_ALIGNED * (1 - before)) / before


def _unit(length: int) -> int:
    """Return to how many bytes a value of this length would be aligned."""
    return {2: 2, 4: 4, 8: 4}.get(length, 1)


def _alignment(at: int, length: int) -> tuple[int, bool]:
    unit = _unit(length)
    return unit, at % unit == 0
