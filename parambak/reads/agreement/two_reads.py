"""Two reads laid side by side: where they differ, and what naming the differences would cost."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from math import lgamma, log, log2
from typing import TYPE_CHECKING, Final

from parambak.memory.image import Range
from parambak.memory.relations import exclusive_or

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.memory.image import Image

SAMPLE: Final = 4096
"""Differing bytes that are looked at one by one, at most."""
_AGREEING: Final = 512
_COUNTED: Final = 65536
_DEAREST: Final = 10.0
_NOT_NULL: Final = b"\x00" + b"\x01" * 255
_DIFFERS: Final = re.compile(rb"[^\x00]")
_LN2: Final = log(2)
_DENSE: Final = 2


def choice(places: int, chosen: int) -> float:
    """Return the bits that say which `chosen` of `places` are meant."""
    if not 0 < chosen < places:
        return 0.0
    ways = lgamma(places + 1) - lgamma(chosen + 1) - lgamma(places - chosen + 1)
    return ways / _LN2


def bytes_that(hits: int, count: int, one: str, many: str) -> str:
    """Return how many of the differing bytes do what `one` or `many` says, for a sentence."""
    if count == 1:
        return f"the one byte that differs {one}"
    who = f"all {count} bytes" if hits == count else f"{hits} of the {count} bytes"
    return f"{who} that differ {one if hits == 1 else many}"


@dataclass(frozen=True)
class TwoReads:
    """What two reads hold at the addresses that both have, and the names to call them by.

    `one` and `other` are of one length, not 0. `stretches` are the addresses they stand at,
    in order; where those lie close, what is between them is FF in both. `lacks` are the
    stretches that `one` holds and `other` lacks, `spare` the reverse.
    """

    one: bytes
    other: bytes
    stretches: tuple[Range, ...]
    lacks: tuple[Range, ...]
    spare: tuple[Range, ...]
    names: tuple[str, str]

    @cached_property
    def turned(self) -> TwoReads:
        """Return the same with the two reads in the other order."""
        return replace(
            self,
            one=self.other,
            other=self.one,
            lacks=self.spare,
            spare=self.lacks,
            names=(self.names[1], self.names[0]),
        )

    @cached_property
    def size(self) -> int:
        """Return how many bytes are compared."""
        return len(self.one)

    @cached_property
    def place(self) -> float:
        """Return the bits that say one place."""
        return log2(self.size + 1)

    @cached_property
    def xor(self) -> bytes:
        """Return the exclusive or of both."""
        return exclusive_or(self.one, self.other)

    @cached_property
    def count(self) -> int:
        """Return how many bytes differ."""
        return self.size - self.xor.count(0)

    @cached_property
    def first(self) -> int:
        """Return the first place that differs, 0 where none does."""
        return self.size - len(self.xor.lstrip(b"\x00")) if self.count else 0

    @cached_property
    def end(self) -> int:
        """Return the place after the last that differs, 0 where none does."""
        return len(self.xor.rstrip(b"\x00"))

    @cached_property
    def runs(self) -> int:
        """Return in how many runs the differing bytes lie."""
        marks = b"\x00" + self.xor.translate(_NOT_NULL)
        return marks.count(b"\x00\x01")

    @cached_property
    def sample(self) -> tuple[int, ...]:
        """Return the places that differ: all, or `SAMPLE` of them from everywhere."""
        if self.count <= SAMPLE:
            return tuple(match.start() for match in _DIFFERS.finditer(self.xor))
        step = self.size // SAMPLE
        # An even stride would meet the same address bits each time.
        starts = (n * step + n * 40503 % max(1, step) for n in range(SAMPLE))
        matches = (_DIFFERS.search(self.xor, at) for at in starts)
        return tuple(sorted({match.start() for match in matches if match is not None}))

    @cached_property
    def ratio(self) -> float:
        """Return how many differing bytes each of the sample stands for."""
        return self.count / max(1, len(self.sample))

    @cached_property
    def cost(self) -> tuple[float, ...]:
        """Return the bits that say each value: few for the common ones."""
        step = self.size // _COUNTED | 1
        counts = Counter(self.one[::step]) + Counter(self.other[::step])
        total = counts.total() + 64
        return tuple(min(_DEAREST, -log2((counts[value] + 0.25) / total)) for value in range(256))

    @cached_property
    def dull(self) -> bytes:
        """Return the values that tell little by being equal: 00, FF and the commonest."""
        return bytes({0x00, 0xFF, min(range(256), key=self.cost.__getitem__)})

    @cached_property
    def values(self) -> float:
        """Return the bits that say the differing bytes of `other`."""
        return self.ratio * sum(self.cost[self.other[at]] for at in self.sample)

    @cached_property
    def places(self) -> float:
        """Return the bits that say where the reads differ, one by one or by runs."""
        singly = choice(self.size, self.count)
        by_runs = choice(self.size, self.runs) + choice(self.count - 1, self.runs - 1)
        return min(singly, by_runs)

    @cached_property
    def null(self) -> float:
        """Return the bits that say every difference, with no cause assumed."""
        return self.places + self.values

    def rest(self, number: int, values: float | None = None) -> float:
        """Return the bits that say `number` further differences that a cause leaves open.

        `values` are the bits that say their values; where not given, an average.
        """
        if values is None:
            values = number * max(1.0, self.values / max(1, self.count))
        return choice(self.size, number) + values

    @cached_property
    def alone(self) -> float:
        """Return the bits that say `other` with no regard to `one`."""
        step = self.size // _COUNTED | 1
        counts = Counter(self.other[::step])
        fill = counts.most_common(1)[0][0]
        ratio = self.size / counts.total()
        values = sum(n * self.cost[value] for value, n in counts.items() if value != fill)
        marks = bytes(0 if value == fill else 1 for value in range(256))
        shown = b"\x00" + self.other.translate(marks)
        number, runs = shown.count(1), shown.count(b"\x00\x01")
        by_runs = choice(self.size, runs) + choice(number - 1, runs - 1)
        return min(choice(self.size, number), by_runs) + values * ratio

    @cached_property
    def telling(self) -> tuple[int, int]:
        """Return how many bytes of `one` and of `other` are not dull."""
        return len(self.one.translate(None, self.dull)), len(self.other.translate(None, self.dull))

    @cached_property
    def agreeing(self) -> int:
        """Return how many bytes are equal and not dull."""
        table = bytes(0 if value in self.dull else 1 for value in range(256))
        marks = self.one.translate(table)
        equal = self.xor.translate(b"\x01" + bytes(255))
        return (int.from_bytes(marks, "little") & int.from_bytes(equal, "little")).bit_count()

    @cached_property
    def single_bits(self) -> int:
        """Return how many bytes differ in one bit alone."""
        return sum(self.xor.count(1 << bit) for bit in range(8))

    def at_level(self, up: bool, low: int, high: int) -> int:  # noqa: FBT001 - a level
        """Return how many bits of `one` from place `low` to `high` can still go up, or down."""
        ones = int.from_bytes(self.one[low:high], "little").bit_count()
        return 8 * (high - low) - ones if up else ones

    @cached_property
    def by_chance(self) -> float:
        """Return how many bytes that are not dull two unrelated reads of this kind have equal."""
        chance: float = sum(
            2.0 ** (-2.0 * cost) for value, cost in enumerate(self.cost) if value not in self.dull
        )
        return 1.5 * chance * self.size

    @cached_property
    def agreeing_sample(self) -> tuple[int, ...]:
        """Return some places at which both hold the same, not dull."""
        step = self.size // (4 * _AGREEING) | 1
        one, other, dull = self.one, self.other, self.dull
        places = range(0, self.size, step)
        telling_places = [at for at in places if one[at] == other[at] and one[at] not in dull]
        return tuple(telling_places[: 4 * _AGREEING : len(telling_places) // _AGREEING + 1])

    @cached_property
    def unbroken(self) -> bool:
        """Return whether places and addresses go in step, so that address lines can be judged."""
        return self.stretches[-1].end - self.stretches[0].start == self.size

    @cached_property
    def _begins(self) -> list[int]:
        places, at = [], 0
        for stretch in self.stretches:
            places.append(at)
            at += stretch.length
        return places

    def address(self, place: int) -> int:
        """Return the address of a place."""
        if self.unbroken:
            return self.stretches[0].start + place
        index = bisect_right(self._begins, place) - 1
        return self.stretches[index].start + place - self._begins[index]

    def at(self, place: int) -> str:
        """Return a place's address as it is shown."""
        return f"0x{self.address(place):04X}"


def lay(one: Image, other: Image, names: tuple[str, str]) -> TwoReads | None:
    """Return the two side by side where they have addresses in common, else None."""
    common = _common(one.ranges, other.ranges)
    if not common:
        return None
    lacks, spare = _beyond(one.ranges, common), _beyond(other.ranges, common)
    span = common[-1].end - common[0].start
    if span <= _DENSE * sum(stretch.length for stretch in common):
        start, end = common[0].start, common[-1].end
        here, there = _filled(one, common, start, end), _filled(other, common, start, end)
    else:
        here, there = _joined(one, common), _joined(other, common)
    return TwoReads(here, there, common, lacks, spare, names)


def _filled(image: Image, common: Sequence[Range], start: int, end: int) -> bytes:
    if len(common) == 1:
        return image.filled(start, end, 0xFF)
    filled = bytearray(b"\xff") * (end - start)
    for stretch in common:
        filled[stretch.start - start : stretch.end - start] = (
            image.read(stretch.start, stretch.length) or b""
        )
    return bytes(filled)


def _joined(image: Image, common: Sequence[Range]) -> bytes:
    return b"".join(image.read(stretch.start, stretch.length) or b"" for stretch in common)


def _common(some: Sequence[Range], others: Sequence[Range]) -> tuple[Range, ...]:
    """Return the stretches in both; each is in order."""
    common, here, there = [], 0, 0
    while here < len(some) and there < len(others):
        low = max(some[here].start, others[there].start)
        high = min(some[here].end, others[there].end)
        if low < high:
            common.append(Range(low, high - low))
        if some[here].end <= others[there].end:
            here += 1
        else:
            there += 1
    return tuple(common)


def _beyond(ranges: Sequence[Range], common: Sequence[Range]) -> tuple[Range, ...]:
    """Return the parts of `ranges` outside `common`, each of which lies within one of them."""
    beyond, index = [], 0
    for stretch in ranges:
        at = stretch.start
        while index < len(common) and common[index].start < stretch.end:
            if at < common[index].start:
                beyond.append(Range(at, common[index].start - at))
            at = common[index].end
            index += 1
        if at < stretch.end:
            beyond.append(Range(at, stretch.end - at))
    return tuple(beyond)
