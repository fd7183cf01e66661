"""The whole search: values and images in, candidates and checks out."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from parambak.find import faults
from parambak.find.chance import Chance
from parambak.find.checks import find_checks
from parambak.find.common_bytes import CommonBytes
from parambak.find.encodings import forms
from parambak.find.hits import SearchBytes, hits, twins
from parambak.find.ranking import rank
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.find.checks import LikelyCheck
    from parambak.find.forms import Form, Interpretation
    from parambak.find.hits import Hit
    from parambak.find.panel_values import PanelValue
    from parambak.find.ranking import Ranked
    from parambak.memory.image import Image

_MOST_SHOWN = 16
_LIKELY = 0.5


def evidence(
    panel_value: PanelValue, ranked: Ranked, mirror_at: Sequence[int], beside: Sequence[str]
) -> tuple[str, ...]:
    """Return the evidence for one candidate, the bytes first.

    `next to` is the evidence of other values, in words.
    """
    hit = ranked.hit
    pairs = dict.fromkeys(
        (_shown(panel_value, index), raw[:_MOST_SHOWN].hex().upper())
        for index, raw in zip(panel_value.seen, hit.raws, strict=True)
    )
    words = ["; ".join(f"{shown} is stored as {raw}" for shown, raw in pairs)]
    if hit.rounded:
        words.append("the display rounds to the value shown")
    if panel_value.changed:
        words.append("its bytes changed when the value changed")
    elif len(set(hit.raws)) > 1:
        words.append("its bytes changed by less than the display shows")
    elif len(hit.raws) > 1:
        words.append("its bytes and the value did not change")
    if ranked.step:
        words.append(f"a step of {abs(ranked.step)} bytes to the values next to it")
    words += beside
    if mirror_at:
        words.append("mirrored at " + ", ".join(f"0x{at:04X}" for at in mirror_at))
    others = dict.fromkeys(
        way.type.name for way in hit.interpretations if way.type != ranked.interpretation.type
    )
    if others:
        words.append(f"{', '.join(others)} would give the same value")
    return tuple(words)


def support_of_others(
    panel_values: Sequence[PanelValue], ranked: Sequence[Sequence[Ranked]]
) -> list[list[str]]:
    """Return how the most likely addresses of other values support each value."""
    firsts = [
        candidates[0] if candidates and candidates[0].belief > _LIKELY else None
        for candidates in ranked
    ]
    pairs = list(zip(panel_values, firsts, strict=True))
    likely = [(value, first.interpretation, first.hit) for value, first in pairs if first]
    scales = Counter(
        (value.unit, way.scale, way.fraction) for value, way, _ in likely if way.type.kind != "text"
    )
    begins = {hit.at: value.name for value, _, hit in likely}
    ends = {hit.at + hit.length: value.name for value, _, hit in likely}
    support: list[list[str]] = []
    for value, first in pairs:
        words = []
        if first:
            way, at, end = first.interpretation, first.hit.at, first.hit.at + first.hit.length
            same = scales[value.unit, way.scale, way.fraction] - 1
            if value.unit and same > 0:
                words.append(f"the same scale as {counted(same, 'other value')} in {value.unit}")
            if at in ends:
                words.append(f"directly after {ends[at]}")
            if end in begins:
                words.append(f"directly before {begins[end]}")
        support.append(words)
    return support


def _shown(panel_value: PanelValue, index: int) -> str:
    shown = panel_value.shown[index]
    text = shown.text if shown else ""
    return f"{text} {panel_value.unit}" if panel_value.unit else text


CONFIDENT = 200
"""Odds, to one, from which a candidate is called confident."""
CLEARLY = 30
"""How many times more likely than the next it must be."""
SHOWN = 5
MOST_ODDS = 1_000_000
MOST_WORK = 1 << 34
"""Bytes times forms; beyond it, the rarer forms are not tried."""


class Candidate(NamedTuple):
    """One address and interpretation; `odds` to one against all others and absence."""

    at: int
    length: int
    interpretation: Interpretation
    odds: int
    mirror_at: tuple[int, ...]
    evidence: tuple[str, ...]


class ValueResult(NamedTuple):
    """One value's candidates, best first; `crowded` if it is at too many addresses."""

    panel_value: PanelValue
    confident: bool
    candidates: tuple[Candidate, ...]
    crowded: bool


class Result(NamedTuple):
    """The result; `end` is the memory's, `forms` how many forms were tried."""

    values: tuple[ValueResult, ...]
    checks: tuple[LikelyCheck, ...]
    notes: tuple[str, ...]
    end: int
    forms: int


Also = dict[tuple[int, int], tuple[int, ...]]


def search(panel_values: Sequence[PanelValue], images: Sequence[Image]) -> Result:
    """Return where each value may be, and which stored values may be checks.

    Raise `layout-find-no-bytes` if the images have no address in common.
    """
    common = CommonBytes.of(images)
    if not common.size:
        raise faults.NO_BYTES.error(expected="bytes at the same addresses", found="none")
    changes = common.changes()
    near = common.around(changes)
    searched = SearchBytes(
        common, near if 2 * near.size < common.size else common, Chance(common, changes)
    )
    candidates, also, crowded, tried, notes = _places(searched, panel_values)
    ranked = rank(panel_values, candidates, common.size)
    beside = support_of_others(panel_values, ranked)
    values = tuple(
        _value(panel_values[index], candidates, also[index], beside[index], crowded=crowded[index])
        for index, candidates in enumerate(ranked)
    )
    checks, of_checks = find_checks(common, changes)
    unmoved = any(candidates.changed for candidates in panel_values) and not changes
    if unmoved:
        notes.append("values changed, but no byte changed: are these the copies of these visits?")
    end = max(image.end for image in images)
    return Result(values, tuple(checks), (*notes, *of_checks), end, tried)


def _places(
    searched: SearchBytes, panel_values: Sequence[PanelValue]
) -> tuple[list[list[Hit]], list[Also], list[bool], int, list[str]]:
    """Return the hits of each value, their twins, whether they were too many, and the count."""
    all_hits, alsos, crowded = [], [], []
    tried, left_out = 0, 0
    most = max(16, MOST_WORK // searched.whole.size // len(panel_values))
    for panel_value in panel_values:
        of_value: Sequence[Form] = forms(panel_value)
        if len(of_value) > most:
            ordered = sorted(of_value, key=lambda form: -form.interpretations[0].share)
            left_out += len(of_value) - most
            of_value = ordered[:most]
        tried += len(of_value)
        of_panel_value, many = hits(searched, panel_value, of_value)
        kept, also = twins(searched.whole, searched.chance, of_panel_value)
        all_hits.append(kept)
        alsos.append(also)
        crowded.append(many)
    notes = [f"the image is large: {left_out} rarer forms were not tried"] if left_out else []
    return all_hits, alsos, crowded, tried, notes


def _value(
    panel_value: PanelValue,
    ranked: Sequence[Ranked],
    also: Also,
    beside: Sequence[str],
    *,
    crowded: bool,
) -> ValueResult:
    candidates = []
    for number, candidate in enumerate(ranked[:SHOWN]):
        again = also.get((candidate.hit.at, candidate.hit.length), ())
        words = evidence(panel_value, candidate, again, () if number else beside)
        odds = _odds(candidate.belief)
        candidates.append(
            Candidate(
                candidate.hit.at, candidate.hit.length, candidate.interpretation, odds, again, words
            )
        )
    return ValueResult(panel_value, _confident(ranked), tuple(candidates), crowded)


def _confident(ranked: Sequence[Ranked]) -> bool:
    """Return whether the first reaches the threshold, and the next is clearly worse."""
    if not ranked or _odds(ranked[0].belief) < CONFIDENT:
        return False
    return len(ranked) < 2 or ranked[0].belief >= CLEARLY * ranked[1].belief


def _odds(belief: float) -> int:
    """Return the odds to one, rounded down to two digits."""
    odds = int(min(MOST_ODDS, belief / max(1e-9, 1 - belief)))
    unit = 10 ** max(0, len(str(odds)) - 2)
    return int(odds // unit * unit)
