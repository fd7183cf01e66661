"""How likely each address is: every value judged together with the others.

Each candidate weighs how common its interpretation is, times how likely its place is, against
how likely its bytes are there by chance; the values judged first teach the next round
(learned, neighbours), and a value's own voice is left out when it is judged.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from math import log2
from typing import TYPE_CHECKING, NamedTuple

from parambak.find.forms import scale_share
from parambak.find.neighbours import Neighbours, Placed, share_of_step, stepped

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping, Sequence

    from parambak.find.forms import Interpretation
    from parambak.find.hits import Hit
    from parambak.find.panel_values import PanelValue

_TRUST_TYPE = 3.0
_TRUST_ORDER = 1.0
_TRUST_SCALE = 2.0
_TRUST_ALIGNED = 2.0
"""How many values a count must rest on to outweigh what is common elsewhere."""


@dataclass
class WeightedCount:
    """A weighted count of one property."""

    counts: Counter[Hashable] = field(default_factory=Counter)
    total: float = 0.0

    def add(self, key: Hashable, weight: float) -> None:
        """Count `key` with a weight from 0 to 1."""
        self.counts[key] += weight  # type: ignore[assignment]  # a Counter of floats
        self.total += weight

    def share(self, key: Hashable, before: float, trust: float, own: WeightedCount | None) -> float:
        """Return the share of `key`, `before` being what it is elsewhere, `own` left out."""
        count = self.counts[key] - (own.counts[key] if own else 0.0)
        total = self.total - (own.total if own else 0.0)
        return (max(0.0, count) + trust * before) / (max(0.0, total) + trust)


@dataclass
class LearnedShares:
    """All learned, of one value or of all."""

    types: WeightedCount = field(default_factory=WeightedCount)
    orders: WeightedCount = field(default_factory=WeightedCount)
    aligned: WeightedCount = field(default_factory=WeightedCount)
    scales: dict[str, WeightedCount] = field(default_factory=dict)

    def learn(self, interpretation: Interpretation, at: int, unit: str, weight: float) -> None:
        """Add an interpretation at an address, weighed by its belief."""
        self.types.add((interpretation.type, interpretation.length), weight)
        if interpretation.order:
            self.orders.add(interpretation.order, weight)
            self.aligned.add(_alignment(at, interpretation.length), weight)
        if interpretation.type.kind != "text":
            key = (interpretation.scale, interpretation.fraction)
            self.scales.setdefault(unit, WeightedCount()).add(key, weight)

    def take_in(self, other: LearnedShares) -> None:
        """Add the learned of one value to those of all."""
        for mine, its in (
            (self.types, other.types),
            (self.orders, other.orders),
            (self.aligned, other.aligned),
            *(
                (self.scales.setdefault(unit, WeightedCount()), count)
                for unit, count in other.scales.items()
            ),
        ):
            for key, weight in its.counts.items():
                mine.add(key, weight)

    def share(
        self, interpretation: Interpretation, unit: str, places: int, own: LearnedShares | None
    ) -> float:
        """Return how common the interpretation is here, without its address."""
        if interpretation.type.kind == "text":
            return interpretation.share
        type_before = interpretation.type.share
        key = (interpretation.type, interpretation.length)
        own_of = own or LearnedShares()
        share = interpretation.share * self.types.share(key, type_before, _TRUST_TYPE, own_of.types)
        share /= type_before
        if interpretation.order:
            share *= 2 * self.orders.share(interpretation.order, 0.5, _TRUST_ORDER, own_of.orders)
        count = self.scales.get(unit)
        if count:
            before = scale_share(interpretation, places)
            of_unit = own_of.scales.get(unit)
            now = count.share(
                (interpretation.scale, interpretation.fraction), before, _TRUST_SCALE, of_unit
            )
            share *= now / before
        return share

    def placing(self, at: int, length: int, own: LearnedShares | None) -> float:
        """Return how much more likely the alignment makes an address: 1 if it has no effect."""
        unit = _unit(length)
        if unit == 1:
            return 1.0
        key = _alignment(at, length)
        before = 1 / unit if key[1] else 1 - 1 / unit
        other = (unit, not key[1])
        mine = own.aligned if own else WeightedCount()
        yes = max(0.0, self.aligned.counts[key] - mine.counts[key]) + _TRUST_ALIGNED * before
        no = max(0.0, self.aligned.counts[other] - mine.counts[other])
        return yes / (yes + no + _TRUST_ALIGNED * (1 - before)) / before


def _unit(length: int) -> int:
    """Return to how many bytes a value of this length would be aligned."""
    return {2: 2, 4: 4, 8: 4}.get(length, 1)


def _alignment(at: int, length: int) -> tuple[int, bool]:
    unit = _unit(length)
    return unit, at % unit == 0


ROUNDS = 5
_ABSENT = 0.1
"""The share of values in no form tried: not stored, or computed for display."""
_LEARNT = 0.05
"""A candidate with less belief than this teaches nothing."""
_SHARED = 0.02
"""The weight left of an address whose bytes certainly belong to another value."""
_FEW = 6


class Ranked(NamedTuple):
    """A candidate: its hit, the likeliest interpretation, and its belief, from 0 to 1."""

    hit: Hit
    interpretation: Interpretation
    belief: float
    step: int | None


class ValueHits(NamedTuple):
    """One value's part in the ranking."""

    panel_value: PanelValue
    hits: Sequence[Hit]
    steps: Mapping[tuple[int, int], tuple[float, int]]


def rank(
    panel_values: Sequence[PanelValue], hits: Sequence[Sequence[Hit]], size: int
) -> list[list[Ranked]]:
    """Return the candidates of each value, best first."""
    steps = stepped(panel_values, hits, size)
    fields = [ValueHits(*parts) for parts in zip(panel_values, hits, steps, strict=True)]
    own_shares: list[LearnedShares] = [LearnedShares() for _ in fields]
    places: list[Placed | None] = [None] * len(fields)
    taken: dict[int, dict[int, float]] = {}
    ranked: list[list[Ranked]] = []
    for _ in range(ROUNDS):
        all_shares = LearnedShares()
        for shares in own_shares:
            all_shares.take_in(shares)
        now = _Round(all_shares, Neighbours(places, size), taken)
        ranked = [
            _judged(index, field, own_shares[index], now) for index, field in enumerate(fields)
        ]
        own_shares = [_learnt(field, row) for field, row in zip(fields, ranked, strict=True)]
        places = [_place(row) for row in ranked]
        taken = _taken(ranked)
    return ranked


class _Round(NamedTuple):
    """The results of one round for all values; `taken` gives the values that claim each byte."""

    learned: LearnedShares
    neighbours: Neighbours
    taken: Mapping[int, Mapping[int, float]]


def _judged(index: int, field: ValueHits, own: LearnedShares, now: _Round) -> list[Ranked]:
    """Return one value's candidates by the evidence of this round, without its `own`."""
    unit = field.panel_value.unit or ""
    places = max(row.places for row in field.panel_value.shown if row is not None)
    weighed: list[tuple[float, Hit, Interpretation, int | None]] = []
    for hit in field.hits:
        shares = [
            (now.learned.share(row, unit, places, own), row) for row in hit.interpretations[:_FEW]
        ]
        best = max(shares, key=lambda row: row[0])
        where = now.neighbours.share(index, hit.at, hit.at + hit.length)
        where *= now.learned.placing(hit.at, hit.length, own)
        share, step = field.steps.get((hit.at, hit.length), (0.0, None))
        where = max(where, share_of_step(share))
        where *= max(_SHARED, 1 - _claimed(index, hit, now.taken))
        weight = hit.bits + log2(sum(row[0] for row in shares)) + log2(where)
        weighed.append((weight, hit, best[1], step if share > 0.5 else None))
    weighed.sort(key=lambda row: (-row[0], row[1].at, row[1].length))
    top = max([log2(_ABSENT), *(row[0] for row in weighed[:1])])
    total = 2 ** (log2(_ABSENT) - top) + sum(2 ** (row[0] - top) for row in weighed)
    return [
        Ranked(hit, interpretation, 2 ** (weight - top) / total, step)
        for weight, hit, interpretation, step in weighed
    ]


def _claimed(index: int, hit: Hit, taken: Mapping[int, Mapping[int, float]]) -> float:
    """Return how certainly other values use bytes of this address."""
    most = 0.0
    for at in range(hit.at, hit.at + hit.length):
        claims = taken.get(at)
        if claims:
            most = max(most, *(belief for value, belief in claims.items() if value != index), 0.0)
    return most


def _learnt(field: ValueHits, ranked: Sequence[Ranked]) -> LearnedShares:
    """Return what one value teaches."""
    learned = LearnedShares()
    for candidate in ranked:
        if candidate.belief < _LEARNT:
            break
        learned.learn(
            candidate.interpretation,
            candidate.hit.at,
            field.panel_value.unit or "",
            candidate.belief,
        )
    return learned


def _place(ranked: Sequence[Ranked]) -> Placed | None:
    if not ranked or ranked[0].belief < 0.5:
        return None
    hit = ranked[0].hit
    return Placed(hit.at, hit.at + hit.length)


def _taken(ranked: Sequence[Sequence[Ranked]]) -> dict[int, dict[int, float]]:
    """Return, for each byte, which values claim it and how surely."""
    taken: dict[int, dict[int, float]] = {}
    for index, row in enumerate(ranked):
        for one in row[:3]:
            if one.belief < 0.3:
                break
            for at in range(one.hit.at, one.hit.at + one.hit.length):
                claims = taken.setdefault(at, {})
                claims[index] = max(claims.get(index, 0.0), one.belief)
    return taken
