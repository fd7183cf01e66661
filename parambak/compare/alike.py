"""Units of one layout held against each other: where one differs from the rest.

Two measures, both said with the answer. A number among eight units or more, of which not
more than half are the same, is measured by its modified z-score, 0.6745 (x - median) / MAD
(B. Iglewicz and D. Hoaglin, How to Detect and Handle Outliers, 1993; from memory), MAD
being the median of the absolute distances from the median; it is unlike from 3.5 on, as
they advise. Anything else (named values, texts, few units) is measured by how rare it is:
how many of the units hold the same; it is unlike where fewer than a third do, or where
more than half hold another. A difference within the layout's tolerance is none. Where no two
of a few units agree, that is said last.
"""

from __future__ import annotations

import math
from collections import Counter
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts import coverage
from parambak.layouts.decode import field_value
from parambak.layouts.plan import plan_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Field, Layout
    from parambak.layouts.plan import FieldPlan
    from parambak.memory.image import Image

FEWEST = 2  # units that can be held against each other
ENOUGH = 8  # units from which a spread means anything
FAR = 3.5  # modified z-score
SCALE = 0.6745  # the normal distribution's upper quartile: MAD / SCALE estimates its spread
RARE = 3  # unlike where fewer than one in so many hold the value
NO_TWO = "no two agree"
FARTHEST = 40.0  # bits that the order of the answer tells apart


class Unlike(NamedTuple):
    """One value of one unit that is unlike the rest.

    `usual` is the median, or what most hold. `score` is the modified z-score, None where
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


_Odd = dict["bytes | None", "tuple[float | None, float]"]
"""For each stored value that is unlike: its score, None by rarity, and its bits."""


def alike(
    layout: Layout,
    given: Sequence[tuple[str, Image]],
    on_purpose: Collection[tuple[str, str]] = (),
) -> tuple[Unlike, ...]:
    """Return what is unlike the rest, most unlike first.

    `given` are the units by name, all of one `layout`; `on_purpose` are pairs of unit and
    field that are left out. Counters, clocks, and what is the unit's or the card's own are
    not compared.
    """
    if len(given) < FEWEST:
        return ()
    wholes = [_whole(image, layout.memory) for _, image in given]
    found: list[Unlike] = []
    for plan in plan_of(layout).fields:
        if _compared(plan.field):
            found += _unlike(layout, plan, given, wholes)
    kept = (each for each in found if (each.unit, each.field) not in on_purpose)
    return tuple(sorted(kept, key=lambda each: (-each.bits, each.unit, each.field)))


def _whole(image: Image, memory: int) -> bytes | None:
    """Return the bytes of a memory that is there in one piece, None of another."""
    piece = len(image.blocks) == 1 and image.start == 0 and image.end >= memory
    return image.blocks[0].data if piece else None


def _compared(field: Field) -> bool:
    own = field.identifies_unit or field.belongs_to_card
    return not (own or field.expected_to_change or field.live)


def _unlike(
    layout: Layout,
    plan: FieldPlan,
    given: Sequence[tuple[str, Image]],
    wholes: Sequence[bytes | None],
) -> Iterable[Unlike]:
    """Yield the unlike values of one field over all units."""
    at, end = plan.at, plan.end
    stored = [
        data[at:end] if data is not None else given[index][1].read(at, end - at)
        for index, data in enumerate(wholes)
    ]
    if plan.place.bit is not None:
        own = {raw: _only_bits(plan, raw) for raw in set(stored)}
        stored = [own[raw] for raw in stored]
    counts = Counter(stored)
    if len(counts) == 1:
        return
    units = len(stored)
    odd, typical = _spread(plan, counts, units) or _rare(counts, units)
    odd = _beyond_tolerance(plan, odd, typical)
    if not odd:
        return
    usual = NO_TWO
    if typical is not None:
        usual = _shown(field_value(layout, plan, given[stored.index(typical)][1]))
    for raw, (score, bits) in odd.items():
        index = -1
        for _ in range(counts[raw]):
            index = stored.index(raw, index + 1)
            name, image = given[index]
            value = _shown(field_value(layout, plan, image))
            unit = plan.field.unit
            yield Unlike(name, plan.name, value, usual, unit, score, counts[raw], units, bits)


def _only_bits(plan: FieldPlan, raw: bytes | None) -> bytes | None:
    """Return a stored value with the bits of other fields cleared."""
    if raw is None:
        return None
    masks = coverage.masks_of(plan.place)
    return bytes(byte & masks.get(plan.at + index, 0) for index, byte in enumerate(raw))


def _beyond_tolerance(plan: FieldPlan, odd: _Odd, typical: bytes | None) -> _Odd:
    """Return what is odd without the values that the layout's tolerance takes for the same."""
    tolerance = plan.field.tolerance
    usual = plan.way.number(typical) if typical is not None else None
    if tolerance is None or usual is None:
        return odd
    wide = Fraction(tolerance)

    def same(raw: bytes | None) -> bool:
        number = plan.way.number(raw) if raw is not None else None
        return number is not None and abs(number - usual) <= wide

    return {raw: found for raw, found in odd.items() if not same(raw)}


def _rare(counts: Counter[bytes | None], units: int) -> tuple[_Odd, bytes | None]:
    """Return what is rare among the stored values, and what most hold.

    Where no two of a few units agree, all are told; of many units that is their nature.
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
) -> tuple[_Odd, bytes | None] | None:
    """Return the stored values far from the median, and the one nearest to it.

    None where a spread means nothing: few units, named values, half of them the same.
    """
    if units < ENOUGH or plan.meaning is not None or counts.most_common(1)[0][1] * 2 > units:
        return None
    numbers: dict[bytes | None, float] = {}
    for raw in counts:
        number = _number(plan, raw)
        if number is None:
            return None
        numbers[raw] = number
    median = weighted_median((number, counts[raw]) for raw, number in numbers.items())
    away = {raw: number - median for raw, number in numbers.items()}
    mad = weighted_median((abs(each), counts[raw]) for raw, each in away.items())
    if not mad:
        return None
    factor = SCALE / mad
    scores = {raw: each * factor for raw, each in away.items()}
    odd: _Odd = {raw: (score, _bits(score)) for raw, score in scores.items() if abs(score) >= FAR}
    return odd, min(away, key=lambda raw: abs(away[raw])) if odd else None


def _number(plan: FieldPlan, raw: bytes | None) -> float | None:
    """Return the number that a stored value stands for; None where it is none.

    A scale and a bias leave the score as it is, so the stored number serves; a table of
    points does not.
    """
    if raw is None:
        return None
    if plan.field.points:
        number = plan.way.number(raw)
        return float(number) if number is not None else None
    if plan.codec.whole is not None:
        return float(plan.codec.whole(raw))
    stored = plan.codec.read(raw).number
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


def _shown(field: FieldValue) -> str:
    return field.value if field.value is not None else (field.mark or "unreadable")
