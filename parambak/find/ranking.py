"""What to believe of all the places found: every value judged beside the others.

Each candidate weighs how common its reading is, times how likely its place is, against
how likely its bytes are there by chance; the values judged first teach the next round
(lessons, neighbours), and a value's own voice is left out when it is judged.
"""

from __future__ import annotations

from math import log2
from typing import TYPE_CHECKING, NamedTuple

from parambak.find.learned import Lessons
from parambak.find.neighbours import Neighbours, Placed, share_of_step, stepped

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.find.hits import Hit
    from parambak.find.reading import Reading
    from parambak.find.wanted import Wanted

ROUNDS = 5
_ABSENT = 0.1
"""The share of values that stand in no form tried: not stored, or worked out when shown."""
_LEARNT = 0.05
"""What is believed less than this teaches nothing."""
_SHARED = 0.02
"""What is left of a place whose bytes another value has for certain."""
_FEW = 6


class Ranked(NamedTuple):
    """A candidate: its hit, the likeliest reading, and how far it is believed, from 0 to 1."""

    hit: Hit
    reading: Reading
    belief: float
    step: int | None


class Voice(NamedTuple):
    """One value's part in the ranking."""

    wanted: Wanted
    hits: Sequence[Hit]
    steps: Mapping[tuple[int, int], tuple[float, int]]


def rank(wanted: Sequence[Wanted], hits: Sequence[Sequence[Hit]], size: int) -> list[list[Ranked]]:
    """Return the candidates of each value, best first."""
    steps = stepped(wanted, hits, size)
    fields = [Voice(*each) for each in zip(wanted, hits, steps, strict=True)]
    own: list[Lessons] = [Lessons() for _ in fields]
    places: list[Placed | None] = [None] * len(fields)
    taken: dict[int, dict[int, float]] = {}
    ranked: list[list[Ranked]] = []
    for _ in range(ROUNDS):
        every = Lessons()
        for each in own:
            every.take_in(each)
        now = _Round(every, Neighbours(places, size), taken)
        ranked = [_judged(index, each, own[index], now) for index, each in enumerate(fields)]
        own = [_learnt(field, each) for field, each in zip(fields, ranked, strict=True)]
        places = [_place(each) for each in ranked]
        taken = _taken(ranked)
    return ranked


class _Round(NamedTuple):
    """What one round knows of all values; `taken` says which claim each byte."""

    lessons: Lessons
    neighbours: Neighbours
    taken: Mapping[int, Mapping[int, float]]


def _judged(index: int, field: Voice, own: Lessons, now: _Round) -> list[Ranked]:
    """Return one value's candidates by what this round knows, `own` lessons left out."""
    unit = field.wanted.unit or ""
    places = max(each.places for each in field.wanted.shown if each is not None)
    weighed: list[tuple[float, Hit, Reading, int | None]] = []
    for hit in field.hits:
        shares = [
            (now.lessons.share(each, unit, places, own), each) for each in hit.readings[:_FEW]
        ]
        best = max(shares, key=lambda each: each[0])
        where = now.neighbours.share(index, hit.at, hit.at + hit.length)
        where *= now.lessons.placing(hit.at, hit.length, own)
        share, step = field.steps.get((hit.at, hit.length), (0.0, None))
        where = max(where, share_of_step(share))
        where *= max(_SHARED, 1 - _claimed(index, hit, now.taken))
        weight = hit.bits + log2(sum(each[0] for each in shares)) + log2(where)
        weighed.append((weight, hit, best[1], step if share > 0.5 else None))
    weighed.sort(key=lambda each: (-each[0], each[1].at, each[1].length))
    top = max([log2(_ABSENT), *(each[0] for each in weighed[:1])])
    total = 2 ** (log2(_ABSENT) - top) + sum(2 ** (each[0] - top) for each in weighed)
    return [
        Ranked(hit, reading, 2 ** (weight - top) / total, step)
        for weight, hit, reading, step in weighed
    ]


def _claimed(index: int, hit: Hit, taken: Mapping[int, Mapping[int, float]]) -> float:
    """Return how surely other values have bytes of this place."""
    most = 0.0
    for at in range(hit.at, hit.at + hit.length):
        claims = taken.get(at)
        if claims:
            most = max(most, *(belief for value, belief in claims.items() if value != index), 0.0)
    return most


def _learnt(field: Voice, ranked: Sequence[Ranked]) -> Lessons:
    """Return what one value teaches."""
    lessons = Lessons()
    for each in ranked:
        if each.belief < _LEARNT:
            break
        lessons.learn(each.reading, each.hit.at, field.wanted.unit or "", each.belief)
    return lessons


def _place(ranked: Sequence[Ranked]) -> Placed | None:
    if not ranked or ranked[0].belief < 0.5:
        return None
    hit = ranked[0].hit
    return Placed(hit.at, hit.at + hit.length)


def _taken(ranked: Sequence[Sequence[Ranked]]) -> dict[int, dict[int, float]]:
    """Return, for each byte, which values claim it and how surely."""
    taken: dict[int, dict[int, float]] = {}
    for index, each in enumerate(ranked):
        for one in each[:3]:
            if one.belief < 0.3:
                break
            for at in range(one.hit.at, one.hit.at + one.hit.length):
                claims = taken.setdefault(at, {})
                claims[index] = max(claims.get(index, 0.0), one.belief)
    return taken
