"""The effects of wrong settings on the reader, or of another chip in its socket.

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
"""Bits that it costs to leave a difference in length without an explanation."""
_LENGTH_TELLS: Final = 40.0
_SURE_DATA: Final = 16
_STRANGE: Final = 0.1


def claims(reads: TwoReads) -> Iterator[Claim]:
    """Yield the orders in which the same bytes may be; the lengths are equal or not."""
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
    for cost, code, units, size, unit in ways:
        turned = (
            relations.swapped(reads.first_read, size, unit)
            if size
            else relations.exchanged(reads.first_read)
        )
        still = relations.differing(turned, reads.second_read)
        if still > _LEFT * reads.count:
            continue
        exact = "every byte agrees" if not still else f"{counted(still, 'byte')} still differ"
        text = (
            f"{units} are in the other order in {reads.names[1]}: {reads.count} bytes differ, and "
            f"in the order of {reads.names[0]} {exact}"
        )
        gain = reads.null - cost - reads.rest(still)
        share = (reads.count - still) / reads.count
        yield Claim(code, gain, share, text, _telling(reads))


def _telling(reads: TwoReads) -> bool:
    values = {reads.second_read[at] for at in reads.sample} - set(reads.dull)
    return reads.count >= _SURE_BYTES and len(values) >= _SURE_BYTES // 2


def _shifted(reads: TwoReads) -> Iterator[Claim]:
    first, second = reads.first_read, reads.second_read
    shift = relations.shift(first, second)
    if shift is None:
        return
    fill = relations.filling(first)
    moved_back = relations.shifted(first, len(second), shift, fill)
    still = relations.differing(moved_back, second)
    edge = abs(shift.by)
    # The bytes at the edge, if not one value, may be those pushed out at the other end.
    gap = second[shift.start : shift.start + edge] if shift.by > 0 else second[-edge:]
    out = first[-edge:] if shift.by > 0 else first[shift.start : shift.start + edge]
    if gap == out and 2 * edge == len(first):
        return  # the halves exchanged
    at_edge = relations.differing(bytes([fill]) * len(gap), gap)
    still = max(0, still - at_edge)
    price = 8.0 if gap == out or gap.count(gap[:1]) == len(gap) else 8.0 * at_edge
    if still > _LIKE * reads.count:
        return
    # Bytes are shifted from the start of the data on, or from later on.
    start = shift.start if first[: shift.start].strip(bytes([fill])) else 0
    cost = 4 + 2 * log2(edge + 1) + (reads.offset_cost if start else 1.0) + price
    gain = reads.null - cost - reads.rest(still)
    text = _text(reads, shift.by, start, still)
    share = (reads.count - still) / reads.count
    # Crossed address lines move a block as large as the distance, or smaller, just so; a
    # stuck highest line shows one half in both.
    moved = first[shift.start :].strip(bytes([fill]))
    data = len(moved.translate(None, bytes([fill])))
    sure = (
        _telling(reads) and len(moved) > edge and 2 * edge != len(first) and data >= 2 * _SURE_BYTES
    )
    yield Claim(SHIFTED, gain, share, text, sure)


def _text(reads: TwoReads, by: int, start: int, still: int) -> str:
    unit = "byte" if abs(by) == 1 else "bytes"
    way = f"{abs(by)} {unit} {'higher' if by > 0 else 'lower'} than in {reads.names[0]}"
    scope = f"from {reads.at(start)} on, all" if start else "all"
    lost = "bytes were inserted" if by > 0 else "bytes were lost"
    exception = "" if not still else f", except {counted(still, 'byte')}"
    return f"{scope} bytes of {reads.names[1]} are {way}{exception}: that read is shifted, {lost}"


def base_moved(first: Image, second: Image, names: tuple[str, str]) -> Claim | None:
    """Return that the same bytes are at other addresses, None if they are not."""
    by = second.start - first.start
    moved = tuple(Range(stretch.start + by, stretch.length) for stretch in first.ranges)
    if not by or moved != second.ranges:
        return None
    first_bytes, second_bytes = first.content, second.content
    still = relations.differing(first_bytes, second_bytes)
    telling = len(first_bytes.translate(None, bytes({0x00, 0xFF, relations.filling(first_bytes)})))
    if still > _LIKE / 10 * len(first_bytes) or still > telling:
        return None
    exception = "" if not still else f", except {counted(still, 'byte')}"
    text = (
        f"{names[1]} holds the same bytes as {names[0]}{exception}, but {counted(abs(by), 'byte')} "
        f"{'higher' if by > 0 else 'lower'}, from 0x{second.start:04X}: another base address or "
        "offset was selected"
    )
    share = (len(first_bytes) - still) / len(first_bytes)
    return Claim(SHIFTED, 1000.0 - still, share, text, telling >= _SURE_BYTES and not still)


def cut_short(image: Image, reads: TwoReads) -> Claim | None:
    """Return that a part of `image`, the first read, is missing in the second."""
    if not reads.lacks or reads.count > reads.agreeing / 4:
        return None
    missing = sum(stretch.length for stretch in reads.lacks)
    lost = b"".join(
        image.read(stretch.start, stretch.length) or b"" for stretch in reads.lacks[:64]
    )
    blank = lost.count(lost[:1]) == len(lost) and lost[0] in (0x00, 0xFF)
    gain = _LENGTH_TELLS if not reads.count else _LENGTH - reads.rest(reads.count) + reads.null
    if reads.spare:
        gain -= _LENGTH
    agree = (
        "the bytes in both reads agree"
        if not reads.count
        else f"{counted(reads.count, 'byte')} differ elsewhere"
    )
    text = (
        f"{missing} of the {image.size} bytes of {reads.names[0]} are missing in {reads.names[1]}, "
        f"{_where(reads.lacks)}; {agree}: {reads.names[1]} was cut short"
    )
    if blank:
        text += (
            f" (or its reader leaves out blank bytes: all are {lost[0]:02X} in {reads.names[0]})"
        )
    share = missing / (missing + reads.count)
    sure = not (blank or reads.spare or reads.count) and reads.agreeing >= _SURE_DATA
    return Claim(CUT_SHORT, gain, share, text, sure)


def _where(lacks: tuple[Range, ...]) -> str:
    shown = [f"0x{stretch.start:04X} to 0x{stretch.end - 1:04X}" for stretch in lacks[:3]]
    more = f" and {len(lacks) - 3} stretches more" if len(lacks) > 3 else ""
    return ", ".join(shown) + more


def repeated(shorter: Image, longer: Image, names: tuple[str, str]) -> Claim | None:
    """Return that `longer`, longer, repeats `shorter` to its end."""
    if len(shorter.blocks) != 1 or len(longer.blocks) != 1 or shorter.start != longer.start:
        return None
    repeats = relations.repeats(longer.content, shorter.content)
    telling = len(
        shorter.content.translate(None, bytes({0, 0xFF, relations.filling(shorter.content)}))
    )
    if repeats is None or repeats.share < 1.0 or telling < _SURE_DATA:
        return None
    text = (
        f"{names[1]} is {longer.size} bytes long and repeats the {shorter.size} bytes of "
        f"{names[0]} to its end: a larger chip was selected, or {names[0]} stopped at a part that "
        "the memory repeats"
    )
    return Claim(REPEATED, _LENGTH_TELLS + 10, 1.0, text, sure=False)


def another_chip(reads: TwoReads) -> Iterator[Claim]:
    """Yield that the two are different memories, by how little of their data agrees.

    Never certain: it remains when no other cause explains the differences.
    """
    in_first, in_second = reads.telling
    fewer = min(in_first, in_second)
    if not fewer:
        return
    strange = 1.0 - _likeness(reads)
    nearness = (1.0 - strange) / _LIKE
    gain = min(30.0, 3.0 * fewer) * (1.0 - nearness)
    less_alone = reads.null - reads.alone
    gain += max(0.0, less_alone) if strange > 0.98 else less_alone
    kind = ""
    if gain <= 0 and strange >= _STRANGE and reads.count >= _SURE_DATA:
        gain, kind = 4.0, ", as in a sister unit's memory of the same make"
    text = (
        f"{reads.count} of {reads.size} bytes differ, and of the bytes that are data "
        f"{reads.agreeing} agree{kind}: another chip was read, or this one was written to"
    )
    yield Claim(ANOTHER_CHIP, gain, min(1.0, strange), text, sure=False)


def _likeness(reads: TwoReads) -> float:
    """Return the share of data that agrees, less what agrees by chance: 0 to 1."""
    in_first, in_second = reads.telling
    either = in_first + in_second - reads.agreeing
    return max(0.0, reads.agreeing - reads.by_chance) / max(1.0, either)
