"""The same bytes in another order: swapped within words, halves exchanged, shifted."""

from __future__ import annotations

from math import log2
from typing import TYPE_CHECKING, Final

from parambak.memory import relations
from parambak.memory.counted import counted
from parambak.memory.image import Image, Range
from parambak.reads.agreement.model import BYTES_SWAPPED, HALVES_EXCHANGED, SHIFTED, Claim

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.reads.agreement.evidence import Evidence

_SURE_BYTES: Final = 8
_LEFT: Final = 0.3
_LIKE: Final = 0.5


def claims(seen: Evidence) -> Iterator[Claim]:
    """Yield the orders in which the same bytes may stand; the lengths are equal or not."""
    if not (seen.lacks or seen.spare):
        yield from _turned(seen)
    yield from _shifted(seen)


def _turned(seen: Evidence) -> Iterator[Claim]:
    ways = (
        (3.0, BYTES_SWAPPED, "the two bytes of each 16-bit word", 2, 1),
        (4.0, BYTES_SWAPPED, "the four bytes of each 32-bit word", 4, 1),
        (4.0, BYTES_SWAPPED, "the two 16-bit words of each 32-bit word", 4, 2),
        (2.0, HALVES_EXCHANGED, "the two halves of the memory", 0, 0),
    )
    for cost, code, what, size, unit in ways:
        would = relations.swapped(seen.one, size, unit) if size else relations.exchanged(seen.one)
        left = relations.differing(would, seen.other)
        if left > _LEFT * seen.count:
            continue
        exact = (
            "every byte then agrees" if not left else f"{counted(left, 'byte')} then still differ"
        )
        text = (
            f"{what} stand in the other order in {seen.names[1]}: {seen.count} bytes differ, and "
            f"with {'them' if size else 'the halves'} put back {exact}"
        )
        gain = seen.null - cost - seen.rest(left)
        share = (seen.count - left) / seen.count
        yield Claim(code, gain, share, text, _telling(seen))


def _telling(seen: Evidence) -> bool:
    values = {seen.other[at] for at in seen.sample} - set(seen.dull)
    return seen.count >= _SURE_BYTES and len(values) >= _SURE_BYTES // 2


def _shifted(seen: Evidence) -> Iterator[Claim]:
    one, other = seen.one, seen.other
    found = relations.shift(one, other)
    if found is None:
        return
    fill = relations.filling(one)
    would = relations.shifted(one, len(other), found, fill)
    left = relations.differing(would, other)
    edge = abs(found.by)
    # The bytes at the edge, if not one value, may be those pushed out at the other end.
    gap = other[found.start : found.start + edge] if found.by > 0 else other[-edge:]
    out = one[-edge:] if found.by > 0 else one[found.start : found.start + edge]
    if gap == out and 2 * edge == len(one):
        return  # the halves exchanged
    at_edge = relations.differing(bytes([fill]) * len(gap), gap)
    if gap == out or gap.count(gap[:1]) == len(gap):
        left -= at_edge
        price = 8.0
    else:
        left -= at_edge
        price = 8.0 * at_edge
    if left > _LIKE * seen.count:
        return
    start = 1.0 if not _late(one, found.start, fill) else seen.place
    cost = 4 + 2 * log2(edge + 1) + start + price
    gain = seen.null - cost - seen.rest(max(0, left))
    text = _text(seen, found.by, found.start, left) if start > 1 else _text(seen, found.by, 0, left)
    share = (seen.count - max(0, left)) / seen.count
    # Crossed address lines move a block as large as the distance, or smaller, just so; a
    # stuck highest line shows one half in both.
    moved = one[found.start :].strip(bytes([fill]))
    data = len(moved.translate(None, bytes([fill])))
    sure = _telling(seen) and len(moved) > edge and 2 * edge != len(one) and data >= 2 * _SURE_BYTES
    yield Claim(SHIFTED, gain, share, text, sure)


def _late(one: bytes, start: int, fill: int) -> bool:
    """Say whether data stand before the place from which bytes are shifted."""
    return bool(one[:start].strip(bytes([fill])))


def _text(seen: Evidence, by: int, start: int, left: int) -> str:
    unit = "byte" if abs(by) == 1 else "bytes"
    way = f"{abs(by)} {unit} {'higher' if by > 0 else 'lower'} than in {seen.names[0]}"
    where = f"from {seen.at(start)} on, all" if start else "all"
    lost = "bytes were put in" if by > 0 else "bytes were lost"
    rest = "" if left <= 0 else f", but for {counted(left, 'byte')}"
    return f"{where} that {seen.names[1]} holds stands {way}{rest}: it is shifted, {lost}"


def base_moved(one: Image, other: Image, names: tuple[str, str]) -> Claim | None:
    """Return that the same bytes stand at other addresses, where they do."""
    by = other.start - one.start
    moved = tuple(Range(each.start + by, each.length) for each in one.ranges)
    if not by or moved != other.ranges:
        return None
    here, there = one.content, other.content
    left = relations.differing(here, there)
    telling = len(here.translate(None, bytes({0x00, 0xFF, relations.filling(here)})))
    if left > _LIKE / 10 * len(here) or left > telling:
        return None
    rest = "" if not left else f", but for {counted(left, 'byte')}"
    text = (
        f"{names[1]} holds what {names[0]} holds{rest}, but {counted(abs(by), 'byte')} "
        f"{'higher' if by > 0 else 'lower'}, from 0x{other.start:04X}: another base address or "
        "offset was chosen"
    )
    share = (len(here) - left) / len(here)
    return Claim(SHIFTED, 1000.0 - left, share, text, telling >= _SURE_BYTES and not left)
