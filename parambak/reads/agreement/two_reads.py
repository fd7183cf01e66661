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


def choice(number: int, chosen: int) -> float:
    """Return the bits that give which `chosen` of `number` they are."""
    if not 0 < chosen < number:
        return 0.0
    ways = lgamma(number + 1) - lgamma(chosen + 1) - lgamma(number - chosen + 1)
    return ways / _LN2


def bytes_that(hits: int, count: int, one: str, many: str) -> str:
    """Return a clause of how many differing bytes do something: `one` and `many` are its verbs."""
    if count == 1:
        return f"the only byte that differs {one}"
    subject = f"all {count} bytes" if hits == count else f"{hits} of the {count} bytes"
    return f"{subject} that differ {one if hits == 1 else many}"


@dataclass(frozen=True)
class TwoReads:
    """What two reads hold at the addresses that both have, and their names in sentences.

    `first_read` and `second_read` are of one length, not 0. `stretches` are their addresses, in
    order; if those are close, the bytes between them are FF in both. `lacks` are the stretches that
    are missing in `second_read` alone, `spare` those missing in `first_read` alone.
    """

    first_read: bytes
    second_read: bytes
    stretches: tuple[Range, ...]
    lacks: tuple[Range, ...]
    spare: tuple[Range, ...]
    names: tuple[str, str]

    @cached_property
    def turned(self) -> TwoReads:
        """Return the same with the two reads in the other order."""
        return replace(
            self,
            first_read=self.second_read,
            second_read=self.first_read,
            lacks=self.spare,
            spare=self.lacks,
            names=(self.names[1], self.names[0]),
        )

    @cached_property
    def size(self) -> int:
        """Return how many bytes are compared."""
        return len(self.first_read)

    @cached_property
    def offset_cost(self) -> float:
        """Return the bits that give one offset."""
        return log2(self.size + 1)

    @cached_property
    def xor(self) -> bytes:
        """Return the exclusive or of both."""
        return exclusive_or(self.first_read, self.second_read)

    @cached_property
    def count(self) -> int:
        """Return how many bytes differ."""
        return self.size - self.xor.count(0)

    @cached_property
    def first(self) -> int:
        """Return the first offset that differs, 0 if none does."""
        return self.size - len(self.xor.lstrip(b"\x00")) if self.count else 0

    @cached_property
    def end(self) -> int:
        """Return the offset after the last that differs, 0 if none does."""
        return len(self.xor.rstrip(b"\x00"))

    @cached_property
    def runs(self) -> int:
        """Return the number of runs of differing bytes."""
        marks = b"\x00" + self.xor.translate(_NOT_NULL)
        return marks.count(b"\x00\x01")

    @cached_property
    def sample(self) -> tuple[int, ...]:
        """Return the offsets that differ: all, or `SAMPLE` of them from everywhere."""
        if self.count <= SAMPLE:
            return tuple(match.start() for match in _DIFFERS.finditer(self.xor))
        step = self.size // SAMPLE
        # An even stride would meet the same address bits each time.
        starts = (n * step + n * 40503 % max(1, step) for n in range(SAMPLE))
        matches = (_DIFFERS.search(self.xor, at) for at in starts)
        return tuple(sorted({match.start() for match in matches if match is not None}))

    @cached_property
    def ratio(self) -> float:
        """Return how many differing bytes one byte of the sample represents."""
        return self.count / max(1, len(self.sample))

    @cached_property
    def cost(self) -> tuple[float, ...]:
        """Return the bits that give each value: few for the common ones."""
        step = self.size // _COUNTED | 1
        counts = Counter(self.first_read[::step]) + Counter(self.second_read[::step])
        total = counts.total() + 64
        return tuple(min(_DEAREST, -log2((counts[value] + 0.25) / total)) for value in range(256))

    @cached_property
    def dull(self) -> bytes:
        """Return the values that prove little if they are equal: 00, FF and the commonest."""
        return bytes({0x00, 0xFF, min(range(256), key=self.cost.__getitem__)})

    @cached_property
    def values(self) -> float:
        """Return the bits that give the differing bytes of `second_read`."""
        return self.ratio * sum(self.cost[self.second_read[at]] for at in self.sample)

    @cached_property
    def offsets_cost(self) -> float:
        """Return the bits that give where the reads differ, one by one or by runs."""
        singly = choice(self.size, self.count)
        by_runs = choice(self.size, self.runs) + choice(self.count - 1, self.runs - 1)
        return min(singly, by_runs)

    @cached_property
    def null(self) -> float:
        """Return the bits that give every difference, with no cause assumed."""
        return self.offsets_cost + self.values

    def rest(self, number: int, values: float | None = None) -> float:
        """Return the bits that give `number` further differences that a cause does not explain.

        `values` are the bits that give their values; by default, an average.
        """
        if values is None:
            values = number * max(1.0, self.values / max(1, self.count))
        return choice(self.size, number) + values

    @cached_property
    def alone(self) -> float:
        """Return the bits that give `second_read` without `first_read`."""
        step = self.size // _COUNTED | 1
        counts = Counter(self.second_read[::step])
        fill = counts.most_common(1)[0][0]
        ratio = self.size / counts.total()
        values = sum(n * self.cost[value] for value, n in counts.items() if value != fill)
        marks = bytes(0 if value == fill else 1 for value in range(256))
        shown = b"\x00" + self.second_read.translate(marks)
        number, runs = shown.count(1), shown.count(b"\x00\x01")
        by_runs = choice(self.size, runs) + choice(number - 1, runs - 1)
        return min(choice(self.size, number), by_runs) + values * ratio

    @cached_property
    def telling(self) -> tuple[int, int]:
        """Return how many bytes of `first_read` and of `second_read` are not dull."""
        return len(self.first_read.translate(None, self.dull)), len(
            self.second_read.translate(None, self.dull)
        )

    @cached_property
    def agreeing(self) -> int:
        """Return how many bytes are equal and not dull."""
        table = bytes(0 if value in self.dull else 1 for value in range(256))
        marks = self.first_read.translate(table)
        equal = self.xor.translate(b"\x01" + bytes(255))
        return (int.from_bytes(marks, "little") & int.from_bytes(equal, "little")).bit_count()

    @cached_property
    def single_bits(self) -> int:
        """Return how many bytes differ in one bit alone."""
        return sum(self.xor.count(1 << bit) for bit in range(8))

    def at_level(self, up: bool, low: int, high: int) -> int:  # noqa: FBT001 - a level
        """Return how many bits of `first_read[low:high]` can still go up, or down."""
        ones = int.from_bytes(self.first_read[low:high], "little").bit_count()
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
        """Return some offsets at which both hold the same byte, not dull."""
        step = self.size // (4 * _AGREEING) | 1
        first, second, dull = self.first_read, self.second_read, self.dull
        offsets = range(0, self.size, step)
        equal = [at for at in offsets if first[at] == second[at] and first[at] not in dull]
        return tuple(equal[: 4 * _AGREEING : len(equal) // _AGREEING + 1])

    @cached_property
    def unbroken(self) -> bool:
        """Return whether offsets and addresses go in step, so that address lines can be judged."""
        return self.stretches[-1].end - self.stretches[0].start == self.size

    @cached_property
    def _begins(self) -> list[int]:
        begins, at = [], 0
        for stretch in self.stretches:
            begins.append(at)
            at += stretch.length
        return begins

    def address(self, offset: int) -> int:
        """Return the address of an offset."""
        if self.unbroken:
            return self.stretches[0].start + offset
        index = bisect_right(self._begins, offset) - 1
        return self.stretches[index].start + offset - self._begins[index]

    def at(self, offset: int) -> str:
        """Return the address of an offset as it is shown."""
        return f"0x{self.address(offset):04X}"


def lay(first: Image, second: Image, names: tuple[str, str]) -> TwoReads | None:
    """Return the two side by side if they have addresses in common, else None."""
    common = _common(first.ranges, second.ranges)
    if not common:
        return None
    lacks, spare = _beyond(first.ranges, common), _beyond(second.ranges, common)
    span = common[-1].end - common[0].start
    if span <= _DENSE * sum(stretch.length for stretch in common):
        start, end = common[0].start, common[-1].end
        first_bytes, second_bytes = (
            _filled(first, common, start, end),
            _filled(second, common, start, end),
        )
    else:
        first_bytes, second_bytes = _joined(first, common), _joined(second, common)
    return TwoReads(first_bytes, second_bytes, common, lacks, spare, names)


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


def _common(firsts: Sequence[Range], seconds: Sequence[Range]) -> tuple[Range, ...]:
    """Return the stretches in both, in order."""
    common, i, j = [], 0, 0
    while i < len(firsts) and j < len(seconds):
        low = max(firsts[i].start, seconds[j].start)
        high = min(firsts[i].end, seconds[j].end)
        if low < high:
            common.append(Range(low, high - low))
        if firsts[i].end <= seconds[j].end:
            i += 1
        else:
            j += 1
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
