"""What speaks for a candidate, in words for the person who has to confirm it."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from typing import TYPE_CHECKING

from parambak.layouts.decimals import exact

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.find.ranking import Ranked
    from parambak.find.reading import Reading
    from parambak.find.wanted import Wanted

_MOST_SHOWN = 16
_LIKELY = 0.5


def evidence(
    wanted: Wanted, ranked: Ranked, also_at: Sequence[int], company: Sequence[str]
) -> tuple[str, ...]:
    """Return the evidence for one candidate, the bytes first.

    `company` is what other values say of it, in words.
    """
    hit = ranked.hit
    pairs = dict.fromkeys(
        (_shown(wanted, index), raw[:_MOST_SHOWN].hex().upper())
        for index, raw in zip(wanted.seen, hit.raws, strict=True)
    )
    said = ["; ".join(f"{shown} stands as {raw}" for shown, raw in pairs)]
    if hit.rounded:
        said.append("the display would round to what it showed")
    if wanted.changed:
        said.append("its bytes changed as the value did")
    elif len(set(hit.raws)) > 1:
        said.append("its bytes changed by less than the display shows")
    elif len(hit.raws) > 1:
        said.append("its bytes stayed as the value did")
    if ranked.step:
        said.append(f"a step of {abs(ranked.step)} bytes to the values beside it")
    said += company
    if also_at:
        said.append("kept again at " + ", ".join(f"0x{at:04X}" for at in also_at))
    others = dict.fromkeys(each.type for each in hit.readings if each.type != ranked.reading.type)
    if others:
        said.append(f"{', '.join(others)} would read the same")
    return tuple(said)


def company(wanted: Sequence[Wanted], ranked: Sequence[Sequence[Ranked]]) -> list[list[str]]:
    """Return what the likeliest places of the other values say of each value's own."""
    firsts = [each[0] if each and each[0].belief > _LIKELY else None for each in ranked]
    scales = Counter(
        (one.unit, first.reading.scale, first.reading.fraction)
        for one, first in zip(wanted, firsts, strict=True)
        if first and first.reading.type != "text"
    )
    begins = {first.hit.at: one.name for one, first in zip(wanted, firsts, strict=True) if first}
    ends = {
        first.hit.at + first.hit.length: one.name
        for one, first in zip(wanted, firsts, strict=True)
        if first
    }
    said: list[list[str]] = []
    for one, first in zip(wanted, firsts, strict=True):
        words = []
        if first:
            same = scales[one.unit, first.reading.scale, first.reading.fraction] - 1
            if one.unit and same > 0:
                words.append(f"the scale of {same} more in {one.unit}")
            if first.hit.at in ends:
                words.append(f"right behind {ends[first.hit.at]}")
            if first.hit.at + first.hit.length in begins:
                words.append(f"right before {begins[first.hit.at + first.hit.length]}")
        said.append(words)
    return said


def _shown(wanted: Wanted, index: int) -> str:
    shown = wanted.shown[index]
    text = shown.text if shown else ""
    return f"{text} {wanted.unit}" if wanted.unit else text


def scale_text(reading: Reading) -> str | None:
    """Return the scale as an exact decimal; None where the raw number is the value."""
    return None if reading.scale == 1 else exact(Fraction(reading.scale))
