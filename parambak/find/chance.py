"""How likely bytes are at an address of this memory by chance, in bits.

Counted from the memory itself, so that FF among FF, or 00 before a small number, counts little.
Between two copies: how often a byte changes, given whether the one before it did, and into what.
Where fields are, blanks and unchanged bytes are commoner than over the whole memory, so what each
may add is capped.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from math import log2
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parambak.find.common_bytes import CommonBytes
    from parambak.memory.image import Range

_SAMPLE = 1 << 20
"""Bytes from which the statistics are taken, evenly spread; more do not improve them."""
_FILL = (0x00, 0xFF)
_FILL_BITS = 1.5
"""The most bits that one 00 or FF adds."""
_SAME_BITS = 0.3
"""The most bits that one byte that did not change adds."""
_KEPT = 200_000


class Chance:
    """How common each byte, pair and change is in these copies."""

    def __init__(self, common: CommonBytes, changes: tuple[Range, ...]) -> None:
        data = _sample(common.datas[0])
        self._single = Counter(data)
        # Pairs count in both directions: else a memory of one byte order would make that
        # very order look like chance.
        self._pairs = Counter(pairwise(data))
        self._pairs.update(Counter(zip(data[1:], data, strict=False)))
        self._after = [0] * 256
        self._solid_after = [0] * 256
        for (before, value), count in self._pairs.items():
            self._after[before] += count
            if value not in _FILL:
                self._solid_after[before] += count
        self._solid = self._of_solid()
        self._bits: dict[bytes, float] = {}
        changed = sum(change.length for change in changes)
        self._start = (changed + 1) / (common.size + 2)
        self._begin = (len(changes) + 1) / (common.size - changed + len(changes) + 2)
        self._go_on = (changed - len(changes) + 1) / (changed + 2)
        self._changed_to = self._of_changed(common, changes)

    def _of_solid(self) -> list[float]:
        """Return the share of each value among bytes that are neither 00 nor FF."""
        total = sum(count for value, count in self._single.items() if value not in _FILL)
        return [
            (0.0 if value in _FILL else (self._single[value] + 1) / (total + 254))
            for value in range(256)
        ]

    @staticmethod
    def _of_changed(common: CommonBytes, changes: tuple[Range, ...]) -> list[float]:
        """Return the share of each value among bytes that changed."""
        last = common.datas[-1]
        seen: Counter[int] = Counter()
        for change in changes[:65536]:
            seen.update(last[change.start : min(change.end, change.start + 4096)])
        total = sum(seen.values())
        return [(seen[value] + 0.5) / (total + 128) for value in range(256)]

    def share(self, value: int, before: int | None) -> float:
        """Return how likely a byte is, given the one before it; None if there is no statistic."""
        if before is None:
            solid = 1 - (self._single[0] + self._single[255] + 1) / (self._single.total() + 2)
            fill = (self._single[value] + 1) / (self._single.total() + 2)
            after_pair = self._solid[value]
        else:
            after, solid_after = self._after[before], self._solid_after[before]
            # The address itself is in the counts; it is left out.
            pair = max(0, self._pairs[before, value] - 2)
            solid = (max(0, solid_after - 2) + 1) / (after + 2)
            fill = (pair + 1) / (after + 2)
            after_pair = pair / solid_after if solid_after else 0.0
        if value in _FILL:
            return max(fill, 2**-_FILL_BITS)
        return float(solid * (after_pair + self._solid[value] + 1 / 256) / 3)

    def bits(self, pattern: bytes) -> float:
        """Return how unlikely the pattern is at a random address."""
        bits_of_pattern = self._bits.get(pattern)
        if bits_of_pattern is None:
            bits_of_pattern = 0.0
            before = None
            for value in pattern:
                bits_of_pattern -= log2(self.share(value, before))
                before = value
            if len(self._bits) < _KEPT:
                self._bits[pattern] = bits_of_pattern
        return bits_of_pattern

    def span_bits(self, leading: bytes, first: int, last: int, *, end: float) -> float:
        """Return how unlikely `leading` and then a byte from `first` to `last` are.

        `end` is the part of the first and of the last value that the span takes.
        """
        before = leading[-1] if leading else None
        shares = [self.share(value, before) for value in range(first, last + 1)]
        share = sum(shares)
        if last > first:
            share -= (1 - end) * (shares[0] + shares[-1])
        else:
            share *= end
        return (self.bits(leading) if leading else 0.0) - log2(min(1.0, max(share, 1e-12)))

    def change_bits(self, old: bytes, new: bytes) -> float:
        """Return how unlikely it is that `old` at one visit is `new` at the next."""
        bits = 0.0
        rate = self._start
        for before, after in zip(old, new, strict=True):
            if before == after:
                bits += min(_SAME_BITS, -log2(1 - rate))
                rate = self._begin
            else:
                bits -= log2(rate * self._changed_to[after])
                rate = self._go_on
        return bits


def _sample(data: bytes) -> bytes:
    if len(data) <= _SAMPLE:
        return data
    pieces, piece = 256, _SAMPLE // 256
    step = (len(data) - piece) // (pieces - 1)
    return b"".join(data[index * step : index * step + piece] for index in range(pieces))
