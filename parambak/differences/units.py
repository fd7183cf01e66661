"""Units of one layout compared with each other: which values differ from the rest.

There are two measures, and the answer names the one used. A number among eight units or more,
of which at most half are the same, has a modified z-score, 0.6745 (x - median) / MAD
(B. Iglewicz and D. Hoaglin, How to Detect and Handle Outliers, 1993; from memory). MAD is the
median of the absolute distances from the median. The number is unlike the rest from 3.5 on, as
they advise. All else (named values, texts, few units) is measured by rarity: how many units
hold the same value. It is unlike the rest if fewer than a third do, or if more than half hold
another value. A difference within the layout's tolerance does not count. If no two of a few
units agree, the answer states this last.
"""

from __future__ import annotations

import math
from collections import Counter
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.fields import value_text
from parambak.layouts import coverage
from parambak.layouts.decode import field_value, full_bytes
from parambak.layouts.plan import plan_of
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from parambak.layouts.model import Field, Layout
    from parambak.layouts.plan import FieldPlan

FEWEST = 2  # units that can be compared
ENOUGH = 8  # units from which a spread has a meaning
FAR = 3.5  # modified z-score
SCALE = 0.6745  # the normal distribution's upper quartile: MAD / SCALE estimates its spread
RARE = 3  # unlike if fewer than one in so many hold the value
NO_TWO = "all different"
FARTHEST = 40.0  # bits; more do not change the order of the answer


class Unlike(NamedTuple):
    """One value of one unit that is unlike the rest.

    `usual` is the median, or the value of most units. `score` is the modified z-score, None if
    rarity was measured: then `same` of `units` hold the value. `bits` orders both: how
    surprising the value is, as bits.
    """

    unit: str
    field: str
    value: str
    usual: str
    measure: str | None
    score: float | None
    same: int
    units: int
    bits: float


_UnlikeRaws = dict["bytes | None", "tuple[float | None, float]"]
"""For each stored value that is unlike the rest: its score (None by rarity), and its bits."""


class Gathered:
    """The stored values of units of one layout, one unit after another.

    Only the bytes of the compared fields are kept, so that the images of a fleet need not be
    in memory at once. Counters, clocks, and fields that identify the unit or belong to the
    card are not compared.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.names: list[str] = []
        self._plans = [plan for plan in plan_of(layout).fields if _compared(plan.field)]
        self._rows: list[bytes] = []  # of each unit, the bytes of its fields joined
        self._absent: dict[int, frozenset[int]] = {}  # by unit, the fields that are not there

    def take(self, name: str, image: Image) -> None:
        """Add the unit of that name."""
        data = full_bytes(image, self.layout.memory)
        if data is not None:
            row = b"".join([data[plan.slot.at : plan.slot.end] for plan in self._plans])
        else:
            held = [image.read(plan.slot.at, plan.slot.end - plan.slot.at) for plan in self._plans]
            absent = frozenset(number for number, raw in enumerate(held) if raw is None)
            self._absent[len(self._rows)] = absent
            pairs = zip(self._plans, held, strict=True)
            row = b"".join(raw or bytes(plan.slot.end - plan.slot.at) for plan, raw in pairs)
        self.names.append(name)
        self._rows.append(row)

    def unlike(self, on_purpose: Collection[tuple[str, str]] = ()) -> tuple[Unlike, ...]:
        """Return the values that are unlike the rest, the most unlike first.

        `on_purpose` are pairs of unit and field that are left out.
        """
        if len(self._rows) < FEWEST:
            return ()
        rare_values: list[Unlike] = []
        at = 0
        for number, plan in enumerate(self._plans):
            end = at + plan.slot.end - plan.slot.at
            stored: list[bytes | None] = [row[at:end] for row in self._rows]
            for unit, absent in self._absent.items():
                if number in absent:
                    stored[unit] = None
            rare_values += _unlike(self.layout, plan, self.names, stored)
            at = end
        kept = (value for value in rare_values if (value.unit, value.field) not in on_purpose)
        return tuple(sorted(kept, key=lambda value: (-value.bits, value.unit, value.field)))


def unlike_values(
    layout: Layout,
    given: Iterable[tuple[str, Image]],
    on_purpose: Collection[tuple[str, str]] = (),
) -> tuple[Unlike, ...]:
    """Return the values that are unlike the rest among named units of one layout.

    Only one image is in memory at a time; `on_purpose` as in `Gathered.unlike`.
    """
    gathered = Gathered(layout)
    for name, image in given:
        gathered.take(name, image)
    return gathered.unlike(on_purpose)


def _compared(field: Field) -> bool:
    of_this_unit = field.identifies_unit or field.belongs_to_card
    return not (of_this_unit or field.running or field.volatile)


def _unlike(
    layout: Layout, plan: FieldPlan, names: Sequence[str], stored: list[bytes | None]
) -> Iterable[Unlike]:
    """Yield the unlike values of one field over all units."""
    if plan.slot.bit is not None:
        own_bits = {raw: _only_bits(plan, raw) for raw in set(stored)}
        stored = [own_bits[raw] for raw in stored]
    counts = Counter(stored)
    if len(counts) == 1:
        return
    units = len(stored)
    rare_values, typical = _spread(plan, counts, units) or _rare(counts, units)
    rare_values = _beyond_tolerance(plan, rare_values, typical)
    if not rare_values:
        return
    usual = NO_TWO if typical is None else _value(layout, plan, typical)
    for raw, (score, bits) in rare_values.items():
        value, unit = _value(layout, plan, raw), plan.field.unit
        index = -1
        for _ in range(counts[raw]):
            index = stored.index(raw, index + 1)
            yield Unlike(
                names[index], plan.name, value, usual, unit, score, counts[raw], units, bits
            )


def _value(layout: Layout, plan: FieldPlan, raw: bytes | None) -> str:
    """Return the value of a field's stored bytes."""
    return value_text(field_value(layout, plan, Image.of(raw or b"", plan.slot.at)))


def _only_bits(plan: FieldPlan, raw: bytes | None) -> bytes | None:
    """Return a stored value with the bits of other fields cleared."""
    if raw is None:
        return None
    masks = coverage.masks_of(plan.slot)
    return bytes(byte & masks.get(plan.slot.at + index, 0) for index, byte in enumerate(raw))


def _beyond_tolerance(
    plan: FieldPlan, rare_values: _UnlikeRaws, typical: bytes | None
) -> _UnlikeRaws:
    """Return the unlike values without those within the layout's tolerance of the usual one."""
    tolerance = plan.field.tolerance
    usual = plan.reader.number(typical) if typical is not None else None
    if tolerance is None or usual is None:
        return rare_values
    wide = Fraction(tolerance)

    def same(raw: bytes | None) -> bool:
        number = plan.reader.number(raw) if raw is not None else None
        return number is not None and abs(number - usual) <= wide

    return {raw: measure for raw, measure in rare_values.items() if not same(raw)}


def _rare(counts: Counter[bytes | None], units: int) -> tuple[_UnlikeRaws, bytes | None]:
    """Return the rare values among the stored ones, and the value of most units.

    If no two of a few units agree, all are returned; with many units that is normal.
    """
    most, most_count = counts.most_common(1)[0]
    if most_count == 1:
        return (dict.fromkeys(counts, (None, 0.0)) if units < ENOUGH else {}), None
    majority = most_count * 2 > units
    return {
        raw: (None, math.log2(units / same))
        for raw, same in counts.items()
        if same < most_count and (majority or same * RARE < units)
    }, most


def _spread(
    plan: FieldPlan, counts: Counter[bytes | None], units: int
) -> tuple[_UnlikeRaws, bytes | None] | None:
    """Return the stored values far from the median, and the one nearest to it.

    None if a spread has no meaning: few units, named values, half of them the same.
    """
    if (
        units < ENOUGH
        or plan.reader.value_names is not None
        or counts.most_common(1)[0][1] * 2 > units
    ):
        return None
    numbers: dict[bytes | None, float] = {}
    for raw in counts:
        number = _number(plan, raw)
        if number is None:
            return None
        numbers[raw] = number
    median = weighted_median((number, counts[raw]) for raw, number in numbers.items())
    away = {raw: number - median for raw, number in numbers.items()}
    mad = weighted_median((abs(distance), counts[raw]) for raw, distance in away.items())
    if not mad:
        return None
    factor = SCALE / mad
    scores = {raw: distance * factor for raw, distance in away.items()}
    far: _UnlikeRaws = {
        raw: (score, _bits(score)) for raw, score in scores.items() if abs(score) >= FAR
    }
    return far, min(away, key=lambda raw: abs(away[raw])) if far else None


def _number(plan: FieldPlan, raw: bytes | None) -> float | None:
    """Return the number of a stored value; None if it has none.

    Scale and offset do not change the score, so the stored number is used; a curve does.
    """
    if raw is None:
        return None
    if plan.field.curve:
        number = plan.reader.number(raw)
        return float(number) if number is not None else None
    if plan.reader.codec.integer is not None:
        return float(plan.reader.codec.integer(raw))
    stored = plan.reader.codec.read(raw).number
    return float(stored) if stored is not None else None


def weighted_median(numbers: Iterable[tuple[float, int]]) -> float:
    """Return the median of numbers given with how often each occurs."""
    ordered = sorted(numbers)
    half = sum(count for _, count in ordered)
    passed = 0
    for index, (number, count) in enumerate(ordered):
        passed += count
        if passed * 2 > half:
            return number
        if passed * 2 == half:
            return (number + ordered[index + 1][0]) / 2
    raise ValueError("no numbers")


def _bits(score: float) -> float:
    """Return how surprising a z-score is: minus the logarithm of its two-sided chance."""
    chance = math.erfc(min(abs(score), 1e6) / math.sqrt(2))
    return min(-math.log2(chance), FARTHEST) if chance else FARTHEST
