"""An address line that is stuck, floats or is shorted: bytes read from another address."""

from __future__ import annotations

from collections import Counter
from math import log2
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.memory.counted import counted
from parambak.memory.relations import exclusive_or, partners
from parambak.reads.agreement.model import ADDRESS_LINE, Claim
from parambak.reads.agreement.two_reads import bytes_that, choice

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from parambak.reads.agreement.two_reads import TwoReads

_SURE_BYTES: Final = 8
_CONSTANT: Final = 0.4
_LOOKED_AT: Final = 2
_MOST: Final = 0.9
_BOTH: Final = 2
"""Bits that give that both reads err at an offset."""
_SPARED: Final = 0.25
_USUAL: Final = 4
_REPEATS: Final = 1.5
"""Bits saved by a partner's value below which a memory repeats itself at that distance."""
_NO_LIMIT: Final = 10.0
_TELLING: Final = 3.0
"""Bits that a partner's value must save to show that the byte was read from there."""
_NOT_NULL: Final = b"\x00" + b"\x01" * 255


class _Line(NamedTuple):
    """What one line explains of the sample.

    `hits` are the offsets, `levels` at how many levels of the line they are (0 if each read errs
    at a level of its own), `moved` the share of the sample at which the second read errs,
    `saved` the bits saved, `limit` those that one partner's value can save at most.
    """

    line: int
    hits: frozenset[int]
    levels: int
    moved: float
    saved: float
    limit: float


def claims(reads: TwoReads) -> Iterator[Claim]:
    """Yield the address lines that explain the differences best, one or two together."""
    if not reads.unbroken or reads.size < 2:
        return
    span = reads.stretches[-1].end - 1
    bits = [1 << line for line in range(span.bit_length()) if 1 << line < reads.size]
    limits = {bit: _repeat_limit(reads, reads.stretches[0].start, bit) for bit in bits}
    all_lines = [_line(reads, bit, limits) for bit in bits]
    lines = sorted(all_lines, key=lambda line: -line.saved)[:_LOOKED_AT]
    most = max(all_lines, key=lambda line: len(line.hits))
    lines += [most] if most not in lines else []
    number = log2(span.bit_length() + 1)
    best = [_claim(reads, line, number) for line in lines if line.hits]
    yield from best
    for first in lines:
        second = max(all_lines, key=lambda line: len(line.hits - first.hits))
        yield from _two_lines(reads, first, second, number)


def _line(reads: TwoReads, bit: int, limits: Mapping[int, float]) -> _Line:
    """Return which differing bytes of the sample one read has with the line at the other level."""
    start, size, most = reads.stretches[0].start, reads.size, limits[bit]
    one, other, cost = reads.first_read, reads.second_read, reads.cost
    repeats = sorted(
        (other_bit for other_bit in limits if limits[other_bit] < _REPEATS), key=limits.__getitem__
    )
    usual = [other_bit for other_bit in repeats if other_bit != bit][:_USUAL]
    moved, back, saved, telling = [], [], 0.0, 0
    for at in reads.sample:
        partner = (start + at ^ bit) - start
        if not 0 <= partner < size:
            continue
        if other[at] == one[partner]:
            moved.append(at)
            value, limit, less = other[at], _limit(reads, at, usual, most), 0
        elif one[at] == other[partner]:
            back.append(at)
            value, limit, less = one[at], most, 1
        elif other[at] == other[partner] and one[at] == one[partner]:
            # Both reads err: one took both bytes from here, the other both from there.
            back.append(at)
            value, limit, less = other[at], most, _BOTH
        else:
            continue
        saved += min(limit, cost[value]) - less
        telling += value not in reads.dull
    hits = frozenset(moved + back)
    # A line with a fault shows data in place of blanks as often as blanks in place of data.
    saved -= 0.0 if telling else 1.5 * len(hits)
    levels = len({start + at & bit for at in hits})
    ordered = _high(moved, start, bit) - _high(back, start, bit) if moved and back else 0.0
    if abs(ordered) > _MOST:  # bytes shifted by this distance are so too
        saved -= len(hits)
        levels = 0
    line = bit.bit_length() - 1
    return _Line(line, hits, levels, len(moved) / len(reads.sample), saved, most)


def _high(offsets: Sequence[int], start: int, bit: int) -> float:
    """Return the share of offsets at which the line is high."""
    return sum(start + at & bit > 0 for at in offsets) / len(offsets)


def _limit(reads: TwoReads, at: int, usual: Sequence[int], most: float) -> float:
    """Return the bits that a partner's value may save at an offset.

    In a memory that repeats itself they are few. But if the byte of `second_read` is at none of the
    usual repeats, it is not one of those that repeat.
    """
    start, met, looked_at = reads.stretches[0].start, 0, 0
    for bit in usual:
        partner = (start + at ^ bit) - start
        if 0 <= partner < reads.size and not reads.xor[partner]:
            looked_at += 1
            met += reads.first_read[partner] == reads.second_read[at]
    return _NO_LIMIT if looked_at > 1 and not met else most


def _repeat_limit(reads: TwoReads, start: int, bit: int) -> float:
    """Return the bits saved by a partner's value, in a memory that repeats itself very few.

    If data on which both reads agree equal their partners too, as in a table, equal partners of
    differing bytes prove little.
    """
    equal = number = 0
    for at in reads.agreeing_sample:
        partner = (start + at ^ bit) - start
        if 0 <= partner < reads.size:
            number += 1
            equal += reads.first_read[at] == reads.first_read[partner]
    return -log2((equal + 0.5) / (number + 1))


def _claim(reads: TwoReads, explained: _Line, number: float) -> Claim:
    share = len(explained.hits) / len(reads.sample)
    hits = round(share * reads.count)
    places, stuck, level = _cost_of_places(reads, explained, share)
    cost_of_choice = choice(reads.count, hits)
    narrowed = reads.offsets_cost - places
    if explained.limit < _TELLING:
        # Most bytes equal their partners, so any wrong byte of a read differs just there: only
        # differences that are all at one level are evidence for the line.
        narrowed = min(narrowed, float(hits) if explained.levels == 1 else 0.0)
    gain = narrowed - cost_of_choice + explained.saved * reads.ratio - number
    line, bit = f"A{explained.line}", 1 << explained.line
    if stuck:
        text = (
            f"in {reads.names[1]} each byte with address line {line} {'high' if level else 'low'} "
            f"has the value that {reads.names[0]} has {counted(bit, 'address', 'addresses')} "
            f"{'lower' if level else 'higher'}: the line is stuck"
        )
    else:
        text = (
            f"{bytes_that(hits, reads.count, 'has the value', 'have the values')} that the other "
            f"read has {counted(bit, 'address', 'addresses')} away, with the other level of "
            f"address line {line}: the line makes bad contact"
        )
    sure = _sure(reads, explained, hits) and _varied(reads, explained.hits)
    return Claim(ADDRESS_LINE, gain, share, text, sure)


def _sure(reads: TwoReads, explained: _Line, hits: int) -> bool:
    """Return whether only a line with a fault explains the offsets.

    At one level the line is stuck, at times or always. At both it floats, and leaves many of
    the bytes unchanged that it could have changed; else the bytes have another order.
    """
    if explained.levels < 2:
        return explained.levels == 1 and hits >= _SURE_BYTES
    start, bit = reads.stretches[0].start, 1 << explained.line
    partners_of_sample = [(start + at ^ bit) - start for at in reads.agreeing_sample]
    spared = sum(
        0 <= partner < reads.size and reads.first_read[at] != reads.first_read[partner]
        for at, partner in zip(reads.agreeing_sample, partners_of_sample, strict=True)
    )
    share = spared / max(1, len(partners_of_sample))
    return hits >= 8 * _SURE_BYTES and share * reads.agreeing >= _SPARED * hits


def _varied(reads: TwoReads, hits: Collection[int]) -> bool:
    """Return whether both reads hold many values at `hits`, and none of them most of the time.

    Else one read may hold nothing there, as after the loss of a contact.
    """
    for data in (reads.first_read, reads.second_read):
        number = Counter(data[at] for at in hits).most_common()
        if len(number) < _SURE_BYTES // 2 or number[0][1] > _CONSTANT * len(hits):
            return False
    return True


def _cost_of_places(reads: TwoReads, explained: _Line, share: float) -> tuple[float, bool, int]:
    """Return the bits that give where the line errs, whether it always does, and at which level."""
    start, bit = reads.stretches[0].start, 1 << explained.line
    levels = {(start + at) >> explained.line & 1 for at in explained.hits}
    if explained.moved < _MOST:
        return reads.offsets_cost, False, 0
    would = partners(reads.first_read, bit, start)
    shows = exclusive_or(reads.first_read, would)
    if len(levels) == 1:
        level = levels.pop()
        shows = _at_level(shows, start, bit, level)
    else:
        level = -1
    best, stuck = reads.offsets_cost, False
    for low, high, more in ((0, reads.size, 1.0), (reads.first, reads.end, 2 * reads.offset_cost)):
        visible = (high - low) - shows[low:high].count(0)
        places = more + choice(max(visible, reads.count), reads.count)
        if level < 0:  # a line that floats is wrong half the time
            places = max(places, float(reads.count))
        if places < best:
            best, stuck = places, visible == reads.count and level >= 0
    return best, stuck and share == 1.0, max(level, 0)


def _at_level(shows: bytes, start: int, bit: int, level: int) -> bytes:
    """Return the bytes at addresses with the line at one level, all others as 00."""
    high = _levels(start, len(shows), bit)
    masked = int.from_bytes(shows, "little")
    masked = masked & high if level else masked & ~high
    return masked.to_bytes(len(shows), "little")


def _two_lines(reads: TwoReads, first: _Line, second: _Line, number: float) -> Iterator[Claim]:
    """Yield that two lines together explain more, as if they are shorted."""
    more = second.hits - first.hits
    if len(more) < 2:
        return
    hits = first.hits | second.hits
    share = len(hits) / len(reads.sample)
    saved = first.saved + second.saved * len(more) / len(second.hits) - choice(len(hits), len(more))
    cost_of_choice = choice(reads.count, round(share * reads.count))
    gain = saved * reads.ratio - cost_of_choice
    if share > _MOST:
        if_shorted = _shorted(reads, first.line, second.line)
        if min(first.limit, second.limit) < _TELLING:  # as for one line
            if_shorted = min(if_shorted, saved * reads.ratio + reads.count)
        gain = max(gain, if_shorted)
    gain -= 2 * number
    low, high = sorted((first.line, second.line))
    number_of_hits = round(share * reads.count)
    text = (
        f"{bytes_that(number_of_hits, reads.count, 'has the value', 'have the values')} "
        f"that the other read has {1 << low} or {1 << high} addresses away: address lines A{low} "
        f"and A{high} are shorted, or both make bad contact"
    )
    ordered = 0 in (first.levels, second.levels)
    sure = len(hits) >= 4 * _SURE_BYTES and not ordered and _varied(reads, hits)
    yield Claim(ADDRESS_LINE, gain, share, text, sure)


def _shorted(reads: TwoReads, first_line: int, second_line: int) -> float:
    """Return the bits saved if two lines are shorted, both at the lower or the higher level."""
    start, size = reads.stretches[0].start, reads.size
    a, b = (_levels(start, size, 1 << line) for line in (first_line, second_line))
    by_one, by_two = (
        partners(reads.first_read, 1 << line, start) for line in (first_line, second_line)
    )
    plain = int.from_bytes(reads.first_read, "little")
    best = 0.0
    for first, second in ((a & ~b, b & ~a), (b & ~a, a & ~b)):
        would = plain & ~(first | second)
        would |= int.from_bytes(by_one, "little") & first
        would |= int.from_bytes(by_two, "little") & second
        turned = would.to_bytes(size, "little")
        unlike = exclusive_or(turned, reads.second_read).translate(_NOT_NULL)
        left_open = (
            int.from_bytes(unlike, "little")
            & int.from_bytes(reads.xor.translate(_NOT_NULL), "little")
        ).bit_count()
        visible = size - exclusive_or(turned, reads.first_read).count(0)
        hits = reads.count - left_open
        cost = 1 + choice(max(visible, hits), hits) + reads.rest(left_open)
        best = max(best, reads.null - cost)
    return best


def _levels(start: int, size: int, bit: int) -> int:
    """Return FF for each address at which the line is high, as one number of bytes."""
    front = start % (2 * bit)
    turn = bytes(bit) + b"\xff" * bit
    levels = turn * ((front + size) // (2 * bit) + 1)
    return int.from_bytes(levels[front : front + size], "little")
