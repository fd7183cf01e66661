"""How addresses of other values support an address: nearness, the list's order, steps."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter, defaultdict
from fractions import Fraction
from itertools import pairwise
from math import log2
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.find.hits import Hit
    from parambak.find.panel_values import PanelValue
    from parambak.layouts.field_types import FieldType

_ANYWHERE, _NEAR, _LISTED = 0.35, 0.25, 0.4
_STEPPED = 0.7
_TRUST_GAP = 4.0
_FURTHEST_STEP = 4096
_PAIRS = 200_000
_MISSED = 6.0  # bits that a row without its value speaks against a step


class Placed(NamedTuple):
    """Where another value is believed to be."""

    at: int
    end: int


class Neighbours:
    """The likely addresses so far: one for each value of the list, None if there is none."""

    def __init__(self, placed: Sequence[Placed | None], size: int) -> None:
        self._placed = placed
        self._size = size
        placed_at = sorted((hit.at, index) for index, hit in enumerate(placed) if hit)
        self._ats = [at for at, _ in placed_at]
        self._owners = [index for _, index in placed_at]
        self._clusters = 1 + sum(b - a > 256 for a, b in pairwise(self._ats))
        self._gaps: Counter[int] = Counter()
        self._steps: Counter[int] = Counter()
        for one, other in pairwise(placed):
            if one and other:
                self._gaps[other.at - one.end] += 1
                self._steps[other.at - one.at] += 1

    def share(self, value: int, at: int, end: int) -> float:
        """Return how likely the address is without its bytes, from 0 to 1."""
        share = _ANYWHERE / self._size + _NEAR * self._near(value, at)
        return share + _LISTED * self._listed(value, at, end)

    def _near(self, value: int, at: int) -> float:
        index = bisect_left(self._ats, at)
        best = self._size
        for step in (-2, -1, 0, 1):
            other = index + step
            if 0 <= other < len(self._ats) and self._owners[other] != value:
                best = min(best, abs(self._ats[other] - at))
        return max(16 / (best + 16) ** 2 / 2 / self._clusters, 0.5 / self._size)

    def _listed(self, value: int, at: int, end: int) -> float:
        """Return the support from the values before and after it in the list."""
        gaps = []
        before = self._placed[value - 1] if value else None
        behind = self._placed[value + 1] if value + 1 < len(self._placed) else None
        own_before = self._own(before, self._placed[value])
        own_behind = self._own(self._placed[value], behind)
        own_pairs = [pair for pair in (own_before, own_behind) if pair]
        if before:
            gaps.append(self._following(at - before.end, at - before.at, own_pairs))
        if behind:
            gaps.append(self._following(behind.at - end, behind.at - at, own_pairs))
        return sum(gaps) / len(gaps) if gaps else 1 / self._size

    @staticmethod
    def _own(one: Placed | None, other: Placed | None) -> tuple[int, int] | None:
        return (other.at - one.end, other.at - one.at) if one and other else None

    def _following(self, gap: int, step: int, own_pairs: Sequence[tuple[int, int]]) -> float:
        usual = _usual_gap(gap)
        total = sum(self._gaps.values()) - len(own_pairs)
        of_gap = self._gaps[gap] - sum(pair[0] == gap for pair in own_pairs)
        of_step = self._steps[step] - sum(pair[1] == step for pair in own_pairs)
        return ((of_gap + of_step) / 2 + _TRUST_GAP * usual) / (total + _TRUST_GAP)


def _usual_gap(gap: int) -> float:
    if gap == 0:
        return 0.3
    return (0.5 if gap > 0 else 0.2) * 8 / (abs(gap) + 8) ** 2


def stepped(
    panel_values: Sequence[PanelValue], hits: Sequence[Sequence[Hit]], size: int
) -> list[Mapping[tuple[int, int], tuple[float, int]]]:
    """Return, for each value, how far constant steps through its rows support an address.

    Fellows are values whose names differ in their last number alone. A place is (at, length); each
    gets a share from 0 to 1, and the step in bytes.
    """
    steps: list[dict[tuple[int, int], tuple[float, int]]] = [{} for _ in panel_values]
    for members in _fellows(panel_values).values():
        if len(members) > 1:
            _of_fellows(members, hits, size, steps)
    return list(steps)


def _fellows(panel_values: Sequence[PanelValue]) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """Return the values by name without its last number, each with that number."""
    groups: dict[tuple[str, str], dict[int, int]] = defaultdict(dict)
    for value, rows in enumerate(panel_values):
        numbers = list(re.finditer(r"[0-9]{1,6}", rows.name))
        if numbers:
            last = numbers[-1]
            stem = rows.name[: last.start()] + "#" + rows.name[last.end() :]
            groups[stem.casefold(), rows.unit or ""].setdefault(int(last[0]), value)
    return {stem: sorted(rows.items()) for stem, rows in groups.items()}


Kind = tuple["FieldType", int, str | None, tuple[Fraction, int]]
Hypothesis = tuple[Kind, int, int]
"""An interpretation's kind, the step, and where row 0 would be."""


def _of_fellows(
    members: Sequence[tuple[int, int]],
    hits: Sequence[Sequence[Hit]],
    size: int,
    steps: list[dict[tuple[int, int], tuple[float, int]]],
) -> None:
    most = max(8, min(80, int((_PAIRS / len(members)) ** 0.5)))
    support: dict[Hypothesis, dict[int, Hit]] = defaultdict(dict)
    shares: dict[Kind, float] = {}
    for (row, value), (next_row, next_value) in pairwise(members):
        for hit in hits[value][:most]:
            kinds = {
                (form.type, form.length, form.order, (form.scale, form.fraction))
                for form in hit.interpretations
            }
            for other in hits[next_value][:most]:
                step, rest = divmod(other.at - hit.at, next_row - row)
                if rest or not hit.length <= abs(step) <= _FURTHEST_STEP:
                    continue
                for form in other.interpretations:
                    kind: Kind = (form.type, form.length, form.order, (form.scale, form.fraction))
                    if kind in kinds:
                        rows = support[kind, step, hit.at - row * step]
                        rows[value], rows[next_value] = hit, other
                        shares[kind] = form.share
    for (kind, step, _), rows in support.items():
        _judge(rows, step, len(members), size.bit_length() + 8 - log2(shares[kind]), steps)


def _judge(
    rows: Mapping[int, Hit],
    step: int,
    members: int,
    choices: float,
    steps: list[dict[tuple[int, int], tuple[float, int]]],
) -> None:
    """Give each row's address the support of the other rows.

    `choices` is in bits: those of a start, a step and an interpretation.
    """
    total = sum(hit.bits for hit in rows.values()) - _MISSED * (members - len(rows))
    for value, hit in rows.items():
        bits = total - hit.bits - choices
        share = 1 / (1 + 2 ** -max(-60.0, min(60.0, bits)))
        key = hit.at, hit.length
        if share > steps[value].get(key, (0.0, 0))[0]:
            steps[value][key] = share, step


def share_of_step(share: float) -> float:
    """Return how likely an address is with this support of a step."""
    return _STEPPED * share
