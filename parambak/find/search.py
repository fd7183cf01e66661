"""The whole search: values and images in, candidates and checks out."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.find import faults
from parambak.find.chance import Chance
from parambak.find.checks import find_checks
from parambak.find.common_bytes import Ground
from parambak.find.encodings import forms
from parambak.find.evidence import company, evidence
from parambak.find.hits import Grounds, hits
from parambak.find.ranking import rank
from parambak.find.twins import twins

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.find.checks import CheckFound
    from parambak.find.hits import Hit
    from parambak.find.ranking import Ranked
    from parambak.find.reading import Form, Reading
    from parambak.find.wanted import Wanted
    from parambak.memory.image import Image

CONFIDENT = 200
"""Odds, to one, from which a candidate is called confident."""
CLEARLY = 30
"""How many times more likely than the next it must be."""
SHOWN = 5
MOST_ODDS = 1_000_000
MOST_WORK = 1 << 34
"""Bytes times forms; beyond it, the rarer forms are not tried."""


class Candidate(NamedTuple):
    """One place and reading; `odds` to one for it, all other places and absence counted."""

    at: int
    length: int
    reading: Reading
    odds: int
    also_at: tuple[int, ...]
    evidence: tuple[str, ...]


class FoundValue(NamedTuple):
    """One value's candidates, best first; `crowded` where it stands in too many places."""

    wanted: Wanted
    confident: bool
    candidates: tuple[Candidate, ...]
    crowded: bool


class Result(NamedTuple):
    """All that was found; `end` is the memory's, `forms` how many forms were tried."""

    values: tuple[FoundValue, ...]
    checks: tuple[CheckFound, ...]
    notes: tuple[str, ...]
    end: int
    forms: int


Also = dict[tuple[int, int], tuple[int, ...]]


def search(wanted: Sequence[Wanted], images: Sequence[Image]) -> Result:
    """Return where each value may lie, and which stored values may be checks.

    Raise `layout-find-no-bytes` where the images have no address in common.
    """
    ground = Ground.of(images)
    if not ground.size:
        raise faults.NO_BYTES.error(expected="bytes at the same addresses", found="none")
    changes = ground.changes()
    near = ground.around(changes)
    grounds = Grounds(
        ground, near if 2 * near.size < ground.size else ground, Chance(ground, changes)
    )
    found, also, crowded, tried, notes = _places(grounds, wanted)
    ranked = rank(wanted, found, ground.size)
    beside = company(wanted, ranked)
    values = tuple(
        _value(wanted[index], each, also[index], beside[index], crowded=crowded[index])
        for index, each in enumerate(ranked)
    )
    checks, of_checks = find_checks(ground, changes)
    unmoved = any(each.changed for each in wanted) and not changes
    if unmoved:
        notes.append("values changed, and not one byte did: are these copies of the visits named?")
    end = max(image.end for image in images)
    return Result(values, tuple(checks), (*notes, *of_checks), end, tried)


def _places(
    grounds: Grounds, wanted: Sequence[Wanted]
) -> tuple[list[list[Hit]], list[Also], list[bool], int, list[str]]:
    """Return the hits of each value, their twins, whether they were too many, and the count."""
    every, alsos, crowded = [], [], []
    tried, left_out = 0, 0
    most = max(16, MOST_WORK // grounds.whole.size // len(wanted))
    for each in wanted:
        of_value: Sequence[Form] = forms(each)
        if len(of_value) > most:
            ordered = sorted(of_value, key=lambda form: -form.readings[0].share)
            left_out += len(of_value) - most
            of_value = ordered[:most]
        tried += len(of_value)
        found, many = hits(grounds, each, of_value)
        kept, also = twins(grounds.whole, grounds.chance, found)
        every.append(kept)
        alsos.append(also)
        crowded.append(many)
    notes = [f"the image is large: {left_out} rarer forms were not tried"] if left_out else []
    return every, alsos, crowded, tried, notes


def _value(
    wanted: Wanted, ranked: Sequence[Ranked], also: Also, beside: Sequence[str], *, crowded: bool
) -> FoundValue:
    candidates = []
    for number, each in enumerate(ranked[:SHOWN]):
        again = also.get((each.hit.at, each.hit.length), ())
        said = evidence(wanted, each, again, () if number else beside)
        odds = _odds(each.belief)
        candidates.append(Candidate(each.hit.at, each.hit.length, each.reading, odds, again, said))
    return FoundValue(wanted, _confident(ranked), tuple(candidates), crowded)


def _confident(ranked: Sequence[Ranked]) -> bool:
    """Return whether the first clears the threshold, and the next is clearly worse."""
    if not ranked or _odds(ranked[0].belief) < CONFIDENT:
        return False
    return len(ranked) < 2 or ranked[0].belief >= CLEARLY * ranked[1].belief


def _odds(belief: float) -> int:
    """Return the odds to one, rounded down to two digits."""
    odds = int(min(MOST_ODDS, belief / max(1e-9, 1 - belief)))
    unit = 10 ** max(0, len(str(odds)) - 2)
    return int(odds // unit * unit)
