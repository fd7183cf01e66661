"""Differences of single bits: weak cells, and a data line that is stuck, floats or is shorted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.reads.agreement.model import DATA_LINE, WEAK_CELLS, Claim
from parambak.reads.agreement.two_reads import bytes_that, choice

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.reads.agreement.two_reads import TwoReads

_FEW: Final = 0.02
"""Share of all bits up to which weak cells are few."""
_WORTH: Final = 0.25
_SINGLE: Final = 0.7
_BOTH: Final = 0.98
_SURE_CELLS: Final = 12
_SURE_LINES: Final = 4
_SURE_BYTES: Final = 8
_SHORTED: Final = 4
_FEWEST: Final = 4
_TWO: Final = 3.0
"""Bits by which two lines with a fault at once are less likely."""


class _Bits(NamedTuple):
    """Differing bits: how many bytes differ in one bit alone, by bit; of those, how many up."""

    alone: tuple[int, ...]
    up: tuple[int, ...]
    number: int
    upward: int


def claims(reads: TwoReads) -> Iterator[Claim]:
    """Yield the causes for which single bits are evidence."""
    if reads.single_bits < _WORTH * reads.count:
        return
    flipped = int.from_bytes(reads.xor, "little")
    risen = flipped & int.from_bytes(reads.second_read, "little")
    raised = risen.to_bytes(reads.size, "little")
    levels = tuple(1 << bit for bit in range(8))
    # A byte that differs in one bit alone is that bit's power of two, or 0 if it fell.
    alone = tuple(reads.xor.count(level) for level in levels)
    up = tuple(_up(reads, raised, level, alone[bit]) for bit, level in enumerate(levels))
    bits = _Bits(alone, up, flipped.bit_count(), risen.bit_count())
    yield from _weak(reads, bits)
    yield from _line(reads, bits)
    yield from _two_lines(reads, bits)


def _up(reads: TwoReads, raised: bytes, level: int, alone: int) -> int:
    """Return how many of the bytes that differ in this bit alone hold it high in `second_read`."""
    if not alone:
        return 0
    if reads.count == reads.single_bits:
        return raised.count(level)
    alone_here = int.from_bytes(reads.xor.translate(_only(level)), "little")
    return (alone_here & int.from_bytes(raised, "little")).bit_count()


def _only(level: int) -> bytes:
    return bytes(level if value == level else 0 for value in range(256))


def _weak(reads: TwoReads, bits: _Bits) -> Iterator[Claim]:
    single = reads.single_bits
    if single < _SINGLE * reads.count or bits.number > max(3, _FEW * 8 * reads.size):
        return
    one_way = bits.upward in (0, bits.number)
    if one_way:
        visible = reads.at_level(bits.upward > 0, 0, reads.size)
        cost = 1 + choice(max(visible, bits.number), bits.number)
    else:
        cost = 1 + choice(8 * reads.size, bits.number) + choice(bits.number, bits.upward)
    gain = reads.null - cost
    lines = sum(1 for alone in bits.alone if alone)
    direction = (
        f"all of them {'1' if bits.upward else '0'} in {reads.names[1]}"
        if one_way
        else f"{bits.upward} of them 1 in {reads.names[1]}, {bits.number - bits.upward} in "
        f"{reads.names[0]}"
    )
    if bits.number == 1:
        text = (
            f"only one bit differs, at {reads.at(reads.first)}, {1 if bits.upward else 0} in "
            f"{reads.names[1]}: a weak memory cell, or a data line that read wrong once"
        )
    else:
        text = (
            f"{bits.number} bits differ, scattered over {reads.size} bytes and {lines} of the 8 "
            f"data lines, {direction}: weak memory cells"
        )
    sure = (
        one_way
        and single == reads.count >= _SURE_CELLS
        and lines >= _SURE_LINES
        and reads.runs >= reads.count * 0.8
    )
    yield Claim(WEAK_CELLS, gain, single / reads.count, text, sure)


def _line(reads: TwoReads, bits: _Bits) -> Iterator[Claim]:
    bit = max(range(8), key=lambda line: bits.alone[line])
    hits = bits.alone[bit]
    if not hits:
        return
    cost, stuck, parity = _cost_of_line(reads, bit, hits, bits.up[bit])
    gain = reads.null - cost - reads.rest(reads.count - hits)
    high = bits.up[bit] == hits
    level = "high" if high else "low"
    clause = f"{bytes_that(hits, reads.count, 'does so', 'do so')} in data line D{bit} alone"
    if stuck:
        text = (
            f"data line D{bit} reads {level} throughout {_extent(reads)} in {reads.names[1]}, and "
            f"{bytes_that(hits, reads.count, 'does so', 'do so')} in it alone: the line is stuck"
        )
    elif bits.up[bit] in (0, hits):
        text = (
            f"{clause}, each time {level} in {reads.names[1]}: the line makes contact only at times"
        )
    else:
        text = f"{clause}, sometimes high and sometimes low: the line floats"
    if parity is not None:
        half = "odd" if parity else "even"
        text += f"; all at {half} addresses, so on a chip 16 bits wide it is one of its 16 lines"
    yield Claim(DATA_LINE, gain, hits / reads.count, text, hits >= _SURE_BYTES)


def _cost_of_line(reads: TwoReads, bit: int, hits: int, up: int) -> tuple[float, bool, int | None]:
    """Return the bits that give where one line errs, whether it is stuck, and which bytes."""
    odd = reads.xor[1::2].count(1 << bit)
    parity = {0: 0, hits: 1}.get(odd) if hits >= _SURE_BYTES else None
    start, step = (parity or 0), (1 if parity is None else 2)
    extra = 4.0 if parity is None else 5.0
    costs = [(extra + choice(len(reads.first_read[start::step]), hits), False)]
    if up in (0, hits):
        can_err = bytes((value >> bit & 1) != (up == hits) for value in range(256))
        for low, high, more in (
            (0, reads.size, 0.0),
            (reads.first, reads.end, 2 * reads.offset_cost),
        ):
            begin = low + (start - low) % step
            visible = reads.first_read[begin:high:step].translate(can_err).count(1)
            stuck = visible == hits >= _FEWEST
            if hits < _FEWEST:  # a rare level that is absent three times proves no stuck line
                visible = max(visible, reads.at_level(up == hits, low, high) // (8 * step))
            price = extra + 1 + more + choice(max(visible, hits), hits)
            costs.append((price, stuck))
    cost, stuck = min(costs)
    return cost, stuck, parity


def _extent(reads: TwoReads) -> str:
    if reads.end - reads.first > 0.9 * reads.size:
        return "the chip"
    return f"{reads.at(reads.first)} to {reads.at(reads.end - 1)}"


def _two_lines(reads: TwoReads, bits: _Bits) -> Iterator[Claim]:
    """Yield that two lines are shorted, or that both have a fault."""
    low, high = sorted(sorted(range(8), key=lambda line: -bits.alone[line])[:2])
    low_bit, high_bit = 1 << low, 1 << high
    hits = sum(reads.xor.count(mask) for mask in (low_bit, high_bit, low_bit | high_bit))
    if hits > bits.alone[low] + bits.alone[high]:
        kinds = 1.58 * hits
    else:
        kinds = choice(hits, bits.alone[low])
    if max(bits.alone) > _BOTH * hits or not hits:
        return
    cost_of_rest = reads.rest(reads.count - hits)
    unlike = [
        (reads.second_read[at] >> low ^ reads.second_read[at] >> high) & 1 for at in reads.sample
    ]
    if not any(unlike) and hits == reads.count >= _SHORTED:
        differs = bytes((value >> low ^ value >> high) & 1 for value in range(256))
        visible = reads.first_read.translate(differs).count(1)
        text = (
            f"data lines D{low} and D{high} have the same level in {reads.names[1]} at each of the "
            f"{hits} differing bytes, and no other line differs: the two are shorted"
        )
        cost = _TWO + 6 + min(choice(max(visible, hits), hits), reads.offsets_cost) + 1
        yield Claim(DATA_LINE, reads.null - cost, 1.0, text, hits >= 2 * _SURE_BYTES)
        return
    text = (
        f"{bytes_that(hits, reads.count, 'does so', 'do so')} in data lines "
        f"D{low} and D{high} alone: both make bad contact, or are shorted"
    )
    cost = _TWO + 6 + min(choice(reads.size, hits), reads.offsets_cost) + kinds
    yield Claim(
        DATA_LINE,
        reads.null - cost - cost_of_rest,
        hits / reads.count,
        text,
        hits >= 3 * _SURE_BYTES,
    )
