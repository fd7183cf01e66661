"""Measurements: the value typed, whether it is inside its limits, and by how much.

Pure. Numbers are exact; a speed is calculated from a frequency as rpm = 60 * f / teeth
(f in hertz, the teeth of the wheel that pass the pick-up; common practice, no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.layouts.decimals import exact, rounded
from parambak.memory.names import nearest_in_words
from parambak.swap.limits import RPM

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.swap.limits import Limit

READING_SHAPE = Fault(
    "measure-shape",
    CallRefused,
    "that is not a reading",
    "Write NAME=NUMBER and the unit, for example core_rail=3.31V; a decimal comma is accepted.",
)
READING_UNIT = Fault(
    "measure-unit",
    CallRefused,
    "the limits of {name} are in another unit",
    "Give the reading in that unit, or correct the file of limits.",
)
READING_NAME = Fault(
    "measure-name",
    CallRefused,
    "the limits have no measurement of that name",
    "Use a name in the file of limits, or add the measurement to the file.",
)
READING_TWICE = Fault(
    "measure-twice", CallRefused, "{name} is given twice", "Give each measurement once."
)

ROUNDED = 3  # digits after the point of a speed that no decimal writes exactly
_NAME = r"[A-Za-z0-9][A-Za-z0-9_.-]{0,63}"
_READING = re.compile(
    rf"({_NAME})\s*=\s*([+-]?[0-9]{{1,20}}(?:[.,][0-9]{{1,20}})?)\s*([^\s.,0-9]\S{{0,19}})?"
)
_NOT_POSSIBLE = re.compile(rf"({_NAME})\s*=\s*(\S.*)", re.DOTALL)
_PREFIXES = {"": 0, "m": -3, "k": 3}
_BASES = frozenset({"V", "A", "W", "Hz", "Ohm", "ohm", "bar", "Pa"})


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement. `value` is exact text in `unit`; None if it was not possible.

    `typed` is the text typed, if it differs; `frequency` the hertz from which a speed was
    calculated, with `teeth`. `low` and `high` are the limits then.
    """

    name: str
    unit: str
    value: str | None
    typed: str | None = None
    low: str | None = None
    high: str | None = None
    frequency: str | None = None
    teeth: int | None = None
    supply: bool = False
    not_possible: str | None = None

    @property
    def exact(self) -> Fraction | None:
        """Return the value without any rounding, None without a value."""
        if self.frequency is not None and self.teeth:
            return rpm(Fraction(self.frequency), self.teeth)
        return Fraction(self.value) if self.value is not None else None

    @property
    def within(self) -> bool | None:
        """Return whether it is inside its limits; None without a value, or without limits."""
        value = self.exact
        if value is None or (self.low is None and self.high is None):
            return None
        return not self._below(value) and not self._above(value)

    @property
    def by(self) -> str | None:
        """Return how far it is outside, or from the nearer limit; None as in `within`."""
        value = self.exact
        if value is None or self.within is None:
            return None
        room = [value - Fraction(self.low)] if self.low is not None else []
        room += [Fraction(self.high) - value] if self.high is not None else []
        return _text(abs(min(room)))

    def _below(self, value: Fraction) -> bool:
        return self.low is not None and value < Fraction(self.low)

    def _above(self, value: Fraction) -> bool:
        return self.high is not None and value > Fraction(self.high)

    @property
    def words(self) -> str:
        """Return the answer in words."""
        value = self.exact
        if value is None:
            return f"not possible: {self.not_possible}"
        if self.within is None:
            return "no limit is stated"
        if self._below(value):
            return f"OUT, {self.by} {self.unit} below {self.low}"
        if self._above(value):
            return f"OUT, {self.by} {self.unit} above {self.high}"
        return f"inside, by {self.by} {self.unit}"


def rpm(frequency: Fraction, teeth: int) -> Fraction:
    """Return revolutions a minute from hertz and the number of teeth."""
    return 60 * frequency / teeth


def read_measurements(
    typed: Iterable[str], not_possible: Iterable[str], limits: Mapping[str, Limit] | None
) -> tuple[Measurement, ...]:
    """Return the readings typed, in order; raise CallRefused for one that is wrong.

    `limits` are by name in lower case; None without limits.
    """
    readings = [_reading(text, limits) for text in typed]
    readings += [_impossible(text, limits) for text in not_possible]
    seen: set[str] = set()
    for reading in readings:
        if reading.name.casefold() in seen:
            raise READING_TWICE.error(name=reading.name, expected="one reading", found="two")
        seen.add(reading.name.casefold())
    return tuple(readings)


def _reading(text: str, limits: Mapping[str, Limit] | None) -> Measurement:
    shape = _READING.fullmatch(text.strip())
    if shape is None:
        raise READING_SHAPE.error(expected="NAME=NUMBER and a unit", found=repr(text[:80]))
    name, number, unit = shape.groups(default="")
    value = Decimal(number.replace(",", "."))
    limit = _limit(name, limits)
    if limit is None:
        return Measurement(name, unit, _text(Fraction(value)), _typed(number, unit, value, unit))
    low, high = (format(bound, "f") if bound is not None else None for bound in limit.bounds)
    if limit.teeth is not None and unit == "Hz":
        speed = rpm(Fraction(value), limit.teeth)
        return Measurement(
            limit.name,
            RPM,
            _text(speed),
            _typed(number, unit, value, RPM),
            low,
            high,
            frequency=format(value, "f"),
            teeth=limit.teeth,
            supply=limit.supply,
        )
    converted = _converted(value, unit, limit)
    shown = _typed(number, unit, converted, limit.unit)
    exactly = _text(Fraction(converted))
    return Measurement(limit.name, limit.unit, exactly, shown, low, high, supply=limit.supply)


def _impossible(text: str, limits: Mapping[str, Limit] | None) -> Measurement:
    shape = _NOT_POSSIBLE.fullmatch(text.strip())
    if shape is None:
        raise READING_SHAPE.error(expected="NAME=REASON", found=repr(text[:80]))
    limit = _limit(shape[1], limits)
    if limit is None:
        return Measurement(shape[1], "", None, not_possible=shape[2])
    low, high = (format(bound, "f") if bound is not None else None for bound in limit.bounds)
    return Measurement(
        limit.name,
        limit.unit,
        None,
        low=low,
        high=high,
        supply=limit.supply,
        not_possible=shape[2],
    )


def _limit(name: str, limits: Mapping[str, Limit] | None) -> Limit | None:
    if limits is None:
        return None
    if name.casefold() not in limits:
        names = [limit.name for limit in limits.values()]
        raise READING_NAME.error(expected=nearest_in_words(name, names), found=repr(name))
    return limits[name.casefold()]


def _converted(value: Decimal, unit: str, limit: Limit) -> Decimal:
    """Return the value in the limit's unit: the same, or with another prefix of thousands."""
    if unit in {"", limit.unit}:
        return value
    shown, typed = _parted(limit.unit), _parted(unit)
    if shown is None or typed is None or shown[1] != typed[1]:
        expected = f"{limit.unit}{' or Hz' if limit.teeth else ''}"
        raise READING_UNIT.error(name=limit.name, expected=expected, found=repr(unit))
    return value.scaleb(_PREFIXES[typed[0]] - _PREFIXES[shown[0]])


def _parted(unit: str) -> tuple[str, str] | None:
    """Return the prefix and the base of a unit that takes one."""
    for prefix in _PREFIXES:
        if unit.startswith(prefix) and unit[len(prefix) :] in _BASES:
            return prefix, unit[len(prefix) :]
    return None


def _typed(number: str, unit: str, value: Decimal, shown: str) -> str | None:
    """Return the text typed if it differs from the value shown."""
    same = number == _text(Fraction(value)) and unit in {"", shown}
    return None if same else f"{number} {unit}".strip()


def _text(value: Fraction) -> str:
    return exact(value) or rounded(value, ROUNDED)
