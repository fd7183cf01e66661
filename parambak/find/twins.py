"""Places that hold the same because a whole block is kept twice."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.find.chance import Chance
    from parambak.find.common_bytes import Ground
    from parambak.find.hits import Hit

_REACH = 256
_BITS = 120.0
"""What the bytes around must say, beside the value's own, for one block to be the other's twin."""
_MOST = 4


def twins(
    ground: Ground, chance: Chance, hits: Sequence[Hit]
) -> tuple[list[Hit], dict[tuple[int, int], tuple[int, ...]]]:
    """Return the hits without those that only repeat another, and where each is repeated."""
    by_bytes: dict[tuple[bytes, ...], list[Hit]] = defaultdict(list)
    for hit in hits:
        by_bytes[hit.raws].append(hit)
    also: dict[tuple[int, int], tuple[int, ...]] = {}
    dropped: set[tuple[int, int]] = set()
    for same in by_bytes.values():
        if not 2 <= len(same) <= _MOST:
            continue
        ordered = sorted(same, key=lambda hit: hit.at)
        first = ordered[0]
        rest = [each for each in ordered[1:] if _twin(ground, chance, first, each)]
        if rest:
            also[first.at, first.length] = tuple(each.at for each in rest)
            dropped.update((each.at, each.length) for each in rest)
    return [hit for hit in hits if (hit.at, hit.length) not in dropped], also


def _twin(ground: Ground, chance: Chance, one: Hit, other: Hit) -> bool:
    """Return whether the bytes around both places are the same in every copy.

    What repeats itself within that stretch is a table's rows, not a block kept twice.
    """
    first, second = ground.position(one.at), ground.position(other.at)
    if first is None or second is None:
        return False
    apart = second - first
    before = min(_same_before(data, first, second) for data in ground.datas)
    behind = min(
        _same_behind(data, first + one.length, second + one.length) for data in ground.datas
    )
    if before + one.length + behind >= apart:
        return False
    data = ground.datas[0]
    around = [data[first - before : first], data[first + one.length : first + one.length + behind]]
    return sum(chance.bits(each) for each in around if each) >= _BITS


def _same_before(data: bytes, first: int, second: int) -> int:
    reach = min(_REACH, first)
    one, other = data[first - reach : first], data[second - reach : second]
    if one == other:
        return reach
    differing = int.from_bytes(one, "big") ^ int.from_bytes(other, "big")
    lowest = (differing & -differing).bit_length() - 1
    return lowest // 8


def _same_behind(data: bytes, first: int, second: int) -> int:
    reach = min(_REACH, len(data) - second)
    one, other = data[first : first + reach], data[second : second + reach]
    if one == other:
        return reach
    differing = int.from_bytes(one, "big") ^ int.from_bytes(other, "big")
    return reach - (differing.bit_length() + 7) // 8
