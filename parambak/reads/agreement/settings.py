"""What wrong settings on the reader make of a memory, or another chip in its socket.

The same bytes in another order: swapped within words, halves exchanged, shifted. Another
length: one read cut short, or one that repeats the other. Or two different chips.
"""

from __future__ import annotations

from math import log2
from typing import TYPE_CHECKING, Final

from parambak.memory import relations
from parambak.memory.counted import counted
from parambak.memory.image import Image, Range
from parambak.reads.agreement.model import (
    ANOTHER_CHIP,
    BYTES_SWAPPED,
    CUT_SHORT,
    HALVES_EXCHANGED,
    REPEATED,
    SHIFTED,
    Claim,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.reads.agreement.two_reads import TwoReads

_SURE_BYTES: Final = 8
_LEFT: Final = 0.3
_LIKE: Final = 0.5
_LENGTH: Final = 16.0
"""Bits that it costs to leave a difference in length open."""
_LENGTH_TELLS: Final = 40.0
_SURE_DATA: Final = 16
_STRANGE: Final = 0.1


def claims(reads: TwoReads) -> Iterator[Claim]:
    """Yield the orders in which the same bytes may stand; the lengths are equal or not."""
    if not (reads.lacks or reads.spare):
        yield from _turned(reads)
    yield from _shifted(reads)


def _turned(reads: TwoReads) -> Iterator[Claim]:
    ways = (
        (3.0, BYTES_SWAPPED, "the two bytes of each 16-bit word", 2, 1),
        (4.0, BYTES_SWAPPED, "the four bytes of each 32-bit word", 4, 1),
        (4.0, BYTES_SWAPPED, "the two 16-bit words of each 32-bit word", 4, 2),
        (2.0, HALVES_EXCHANGED, "the two halves of the memory", 0, 0),
    )
    for cost, code, what, size, unit in ways:
        would = relations.swapped(reads.one, size, unit) if size else relations.exchanged(reads.one)
        left = relations.differing(would, reads.other)
        if left > _LEFT * reads.count:
            continue
        exact = (
            "every byte then agrees" if not left else f"{counted(left, 'byte')} then still differ"
        )
        text = (
            f"{what} stand in the other order in {reads.names[1]}: {reads.count} bytes differ, and "
            f"with {'them' if size else 'the halves'} put back {exact}"
        )
        gain = reads.null - cost - reads.rest(left)
        share = (reads.count - left) / reads.count
        yield Claim(code, gain, share, text, _telling(reads))


def _telling(reads: TwoReads) -> bool:
    values = {reads.other[at] for at in reads.sample} - set(reads.dull)
    return reads.count >= _SURE_BYTES and len(values) >= _SURE_BYTES // 2


def _shifted(reads: TwoReads) -> Iterator[Claim]:
    one, other = reads.one, reads.other
    shift = relations.shift(one, other)
    if shift is None:
        return
    fill = relations.filling(one)
    would = relations.shifted(one, len(other), shift, fill)
    left = relations.differing(would, other)
    edge = abs(shift.by)
    # The bytes at the edge, if not one value, may be those pushed out at the other end.
    gap = other[shift.start : shift.start + edge] if shift.by > 0 else other[-edge:]
    out = one[-edge:] if shift.by > 0 else one[shift.start : shift.start + edge]
    if gap == out and 2 * edge == len(one):
        return  # the halves exchanged
    at_edge = relations.differing(bytes([fill]) * len(gap), gap)
    if gap == out or gap.count(gap[:1]) == len(gap):
        left -= at_edge
        price = 8.0
    else:
        left -= at_edge
        price = 8.0 * at_edge
    if left > _LIKE * reads.count:
        return
    start = 1.0 if not _late(one, shift.start, fill) else reads.place
    cost = 4 + 2 * log2(edge + 1) + start + price
    gain = reads.null - cost - reads.rest(max(0, left))
    text = (
        _text(reads, shift.by, shift.start, left) if start > 1 else _text(reads, shift.by, 0, left)
    )
    share = (reads.count - max(0, left)) / reads.count
    # Crossed address lines move a block as large as the distance, or smaller, just so; a
    # stuck highest line shows one half in both.
    moved = one[shift.start :].strip(bytes([fill]))
    data = len(moved.translate(None, bytes([fill])))
    sure = (
        _telling(reads) and len(moved) > edge and 2 * edge != len(one) and data >= 2 * _SURE_BYTES
    )
    yield Claim(SHIFTED, gain, share, text, sure)


def _late(one: bytes, start: int, fill: int) -> bool:
    """Say whether data stand before the place from which bytes are shifted."""
    return bool(one[:start].strip(bytes([fill])))


def _text(reads: TwoReads, by: int, start: int, left: int) -> str:
    unit = "byte" if abs(by) == 1 else "bytes"
    way = f"{abs(by)} {unit} {'higher' if by > 0 else 'lower'} than in {reads.names[0]}"
    where = f"from {reads.at(start)} on, all" if start else "all"
    lost = "bytes were put in" if by > 0 else "bytes were lost"
    rest = "" if left <= 0 else f", but for {counted(left, 'byte')}"
    return f"{where} that {reads.names[1]} holds stands {way}{rest}: it is shifted, {lost}"


def base_moved(one: Image, other: Image, names: tuple[str, str]) -> Claim | None:
    """Return that the same bytes stand at other addresses, where they do."""
    by = other.start - one.start
    moved = tuple(Range(stretch.start + by, stretch.length) for stretch in one.ranges)
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


def cut_short(one: Image, reads: TwoReads) -> Claim | None:
    """Return that the second read lacks a part of `one`, the first; what of the rest agrees."""
    if not reads.lacks or reads.count > reads.agreeing / 4:
        return None
    lacking = sum(stretch.length for stretch in reads.lacks)
    lost = b"".join(one.read(stretch.start, stretch.length) or b"" for stretch in reads.lacks[:64])
    blank = lost.count(lost[:1]) == len(lost) and lost[0] in (0x00, 0xFF)
    gain = _LENGTH_TELLS if not reads.count else _LENGTH - reads.rest(reads.count) + reads.null
    if reads.spare:
        gain -= _LENGTH
    agree = (
        "what both hold agrees"
        if not reads.count
        else f"{counted(reads.count, 'byte')} differ elsewhere"
    )
    text = (
        f"{reads.names[1]} lacks {lacking} of the {one.size} bytes that {reads.names[0]} holds, "
        f"{_where(reads.lacks)}; {agree}: that read was cut short"
    )
    if blank:
        text += f" (all {lost[0]:02X} in {reads.names[0]}: or its reader leaves blank bytes out)"
    share = lacking / (lacking + reads.count)
    sure = not (blank or reads.spare or reads.count) and reads.agreeing >= _SURE_DATA
    return Claim(CUT_SHORT, gain, share, text, sure)


def _where(lacks: tuple[Range, ...]) -> str:
    shown = [f"0x{stretch.start:04X} to 0x{stretch.end - 1:04X}" for stretch in lacks[:3]]
    more = f" and {len(lacks) - 3} stretches more" if len(lacks) > 3 else ""
    return ", ".join(shown) + more


def repeated(one: Image, other: Image, names: tuple[str, str]) -> Claim | None:
    """Return that `other`, longer, is `one` over and over."""
    if len(one.blocks) != 1 or len(other.blocks) != 1 or one.start != other.start:
        return None
    repeats = relations.repeats(other.content, one.content)
    telling = len(one.content.translate(None, bytes({0, 0xFF, relations.filling(one.content)})))
    if repeats is None or repeats.share < 1.0 or telling < _SURE_DATA:
        return None
    text = (
        f"{names[1]} is {other.size} bytes long and holds the {one.size} bytes of {names[0]} "
        "over and over: a larger chip was chosen, or the other read stopped at a part that the "
        "memory repeats"
    )
    return Claim(REPEATED, _LENGTH_TELLS + 10, 1.0, text, sure=False)


def another_chip(reads: TwoReads) -> Iterator[Claim]:
    """Yield that the two are different memories, as far as their data are strange to each other.

    Never certain: it is what is left where nothing known here explains the differences.
    """
    here, there = reads.telling
    fewer = min(here, there)
    if not fewer:
        return
    strange = 1.0 - _likeness(reads)
    nearness = (1.0 - strange) / _LIKE
    gain = min(30.0, 3.0 * fewer) * (1.0 - nearness)
    apart = reads.null - reads.alone
    gain += max(0.0, apart) if strange > 0.98 else apart
    kind = ""
    if gain <= 0 and strange >= _STRANGE and reads.count >= _SURE_DATA:
        gain, kind = 4.0, ", as in a sister unit's memory of the same make"
    text = (
        f"{reads.count} of {reads.size} bytes differ, and of the bytes that are data "
        f"{reads.agreeing} agree{kind}: another chip was read, or this one was written anew"
    )
    yield Claim(ANOTHER_CHIP, gain, min(1.0, strange), text, sure=False)


def _likeness(reads: TwoReads) -> float:
    """Return the share of data that agrees, less what chance makes agree: 0 to 1."""
    here, there = reads.telling
    either = here + there - reads.agreeing
    return max(0.0, reads.agreeing - reads.by_chance) / max(1.0, either)
