"""An address line that is stuck, floats or is shorted: bytes read from another address."""

from __future__ import annotations

from collections import Counter
from math import log2
from typing import TYPE_CHECKING, Final, NamedTuple

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
"""Bits that say that both reads err at a place."""
_SPARED: Final = 0.25
_USUAL: Final = 4
_REPEATS: Final = 1.5
"""Bits saved by a partner's value below which a memory repeats itself at that distance."""
_NO_LIMIT: Final = 10.0
_TELLING: Final = 3.0
"""Bits that a partner's value must save to tell that the byte was read from there."""
_NOT_NULL: Final = b"\x00" + b"\x01" * 255


class _Line(NamedTuple):
    """What one line explains of the sample.

    `hits` are the places, `levels` at how many levels of the line they stand (0 where one read
    errs at the one level alone, and the other at the other), `moved` the
    share of the sample at which it is the second read that errs, `saved` the bits saved,
    `compare-units` those that one partner's value can save at most.
    """

    line: int
    hits: frozenset[int]
    levels: int
    moved: float
    saved: float
    alike: float


def claims(reads: TwoReads) -> Iterator[Claim]:
    """Yield the address lines that explain the differences best, one or two together."""
    if not reads.unbroken or reads.size < 2:
        return
    span = reads.stretches[-1].end - 1
    bits = [1 << line for line in range(span.bit_length()) if 1 << line < reads.size]
    alike = {bit: _alike(reads, reads.stretches[0].start, bit) for bit in bits}
    all_lines = [_line(reads, bit, alike) for bit in bits]
    lines = sorted(all_lines, key=lambda line: -line.saved)[:_LOOKED_AT]
    most = max(all_lines, key=lambda line: len(line.hits))
    lines += [most] if most not in lines else []
    number = log2(span.bit_length() + 1)
    best = [_claim(reads, line, number) for line in lines if line.hits]
    yield from best
    for one in lines:
        two = max(all_lines, key=lambda line: len(line.hits - one.hits))
        yield from _two(reads, one, two, number)


def _line(reads: TwoReads, bit: int, alike: Mapping[int, float]) -> _Line:
    """Look which differing bytes of the sample stand, in one read, where the line is the other."""
    start, size, most = reads.stretches[0].start, reads.size, alike[bit]
    one, other, cost = reads.one, reads.other, reads.cost
    repeats = sorted(
        (other_bit for other_bit in alike if alike[other_bit] < _REPEATS), key=alike.__getitem__
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
    # A line in trouble shows data where there were none as often as none where there were data.
    saved -= 0.0 if telling else 1.5 * len(hits)
    levels = len({start + at & bit for at in hits})
    ordered = _high(moved, start, bit) - _high(back, start, bit) if moved and back else 0.0
    if abs(ordered) > _MOST:  # bytes shifted by just this distance stand so, by no luck
        saved -= len(hits)
        levels = 0
    line = bit.bit_length() - 1
    return _Line(line, hits, levels, len(moved) / len(reads.sample), saved, most)


def _high(places: Sequence[int], start: int, bit: int) -> float:
    """Return the share of places at which the line is high."""
    return sum(start + at & bit > 0 for at in places) / len(places)


def _limit(reads: TwoReads, at: int, usual: Sequence[int], most: float) -> float:
    """Return the bits that a partner's value may save at a place.

    In a memory that repeats itself they are few: but where what `other` holds is met at none
    of the usual repeats, that byte is none of those that repeat.
    """
    start, met, looked_at = reads.stretches[0].start, 0, 0
    for bit in usual:
        place = (start + at ^ bit) - start
        if 0 <= place < reads.size and not reads.xor[place]:
            looked_at += 1
            met += reads.one[place] == reads.other[at]
    return _NO_LIMIT if looked_at > 1 and not met else most


def _alike(reads: TwoReads, start: int, bit: int) -> float:
    """Return the bits saved by a partner's value, in a memory that repeats itself very few.

    Where data that both reads agree on equal their partners anyway, as in a table, it is no
    wonder that differing ones do.
    """
    equal = number = 0
    for at in reads.agreeing_sample:
        partner = (start + at ^ bit) - start
        if 0 <= partner < reads.size:
            number += 1
            equal += reads.one[at] == reads.one[partner]
    return -log2((equal + 0.5) / (number + 1))


def _claim(reads: TwoReads, explained: _Line, number: float) -> Claim:
    share = len(explained.hits) / len(reads.sample)
    hits = round(share * reads.count)
    places, stuck, level = _places(reads, explained, share)
    which = choice(reads.count, hits)
    narrowed = reads.places - places
    if explained.alike < _TELLING:
        # Most bytes equal their partners, so that any that one read has wrong stand out just
        # there: only that all are at one level speaks for the line.
        narrowed = min(narrowed, float(hits) if explained.levels == 1 else 0.0)
    gain = narrowed - which + explained.saved * reads.ratio - number
    line, bit = f"A{explained.line}", 1 << explained.line
    if stuck:
        text = (
            f"in {reads.names[1]} each byte with address line {line} {'high' if level else 'low'} "
            f"is the one {bit} {'lower' if level else 'higher'}, as {reads.names[0]} holds it: "
            f"the line is stuck"
        )
    else:
        text = (
            f"{bytes_that(hits, reads.count, 'is the one', 'are those')} that the other read holds "
            f"{bit} away, where address line {line} has the other level: the line makes bad contact"
        )
    sure = _sure(reads, explained, hits) and _varied(reads, explained.hits)
    return Claim(ADDRESS_LINE, gain, share, text, sure)


def _sure(reads: TwoReads, explained: _Line, hits: int) -> bool:
    """Say whether a line in trouble is all that it can be, as far as the places tell.

    At one level it is stuck, now and then or always. At both it floats, and then spares many of
    the bytes that it could have changed; else their order is another.
    """
    if explained.levels < 2:
        return explained.levels == 1 and hits >= _SURE_BYTES
    start, bit = reads.stretches[0].start, 1 << explained.line
    places = [(start + at ^ bit) - start for at in reads.agreeing_sample]
    spared = sum(
        0 <= partner < reads.size and reads.one[at] != reads.one[partner]
        for at, partner in zip(reads.agreeing_sample, places, strict=True)
    )
    share = spared / max(1, len(places))
    return hits >= 8 * _SURE_BYTES and share * reads.agreeing >= _SPARED * hits


def _varied(reads: TwoReads, hits: Collection[int]) -> bool:
    """Say whether both reads hold many values there, none of them much of the time.

    Else one read may hold nothing at those places, as where a contact was lost.
    """
    for data in (reads.one, reads.other):
        number = Counter(data[at] for at in hits).most_common()
        if len(number) < _SURE_BYTES // 2 or number[0][1] > _CONSTANT * len(hits):
            return False
    return True


def _places(reads: TwoReads, explained: _Line, share: float) -> tuple[float, bool, int]:
    """Return the bits that say where the line errs, whether it always does, and at which level."""
    start, bit = reads.stretches[0].start, 1 << explained.line
    levels = {(start + at) >> explained.line & 1 for at in explained.hits}
    if explained.moved < _MOST:
        return reads.places, False, 0
    would = partners(reads.one, bit, start)
    shows = exclusive_or(reads.one, would)
    if len(levels) == 1:
        level = levels.pop()
        shows = _at_level(shows, start, bit, level)
    else:
        level = -1
    best, stuck = reads.places, False
    for low, high, more in ((0, reads.size, 1.0), (reads.first, reads.end, 2 * reads.place)):
        visible = (high - low) - shows[low:high].count(0)
        places = more + choice(max(visible, reads.count), reads.count)
        if level < 0:  # a line that floats is wrong half the time: always is no luck
            places = max(places, float(reads.count))
        if places < best:
            best, stuck = places, visible == reads.count and level >= 0
    return best, stuck and share == 1.0, max(level, 0)


def _at_level(shows: bytes, start: int, bit: int, level: int) -> bytes:
    """Return the bytes at addresses with the line at one level, the others 00."""
    high = _levels(start, len(shows), bit)
    kept = int.from_bytes(shows, "little")
    kept = kept & high if level else kept & ~high
    return kept.to_bytes(len(shows), "little")


def _two(reads: TwoReads, one: _Line, two: _Line, number: float) -> Iterator[Claim]:
    """Yield that two lines together explain more, as where they are shorted."""
    more = two.hits - one.hits
    if len(more) < 2:
        return
    hits = one.hits | two.hits
    share = len(hits) / len(reads.sample)
    saved = one.saved + two.saved * len(more) / len(two.hits) - choice(len(hits), len(more))
    which = choice(reads.count, round(share * reads.count))
    gain = saved * reads.ratio - which
    if share > _MOST:
        both = _shorted(reads, one.line, two.line)
        if min(one.alike, two.alike) < _TELLING:  # as for one line
            both = min(both, saved * reads.ratio + reads.count)
        gain = max(gain, both)
    gain -= 2 * number
    low, high = sorted((one.line, two.line))
    text = (
        f"{bytes_that(round(share * reads.count), reads.count, 'is the one', 'are those')} "
        f"that the other read holds {1 << low} or {1 << high} away: address lines A{low} and "
        f"A{high} are shorted, or both make bad contact"
    )
    ordered = 0 in (one.levels, two.levels)
    sure = len(hits) >= 4 * _SURE_BYTES and not ordered and _varied(reads, hits)
    yield Claim(ADDRESS_LINE, gain, share, text, sure)


def _shorted(reads: TwoReads, one: int, two: int) -> float:
    """Return the bits saved where two lines are shorted, both following the lower or the higher."""
    start, size = reads.stretches[0].start, reads.size
    a, b = (_levels(start, size, 1 << line) for line in (one, two))
    by_one, by_two = (partners(reads.one, 1 << line, start) for line in (one, two))
    own = int.from_bytes(reads.one, "little")
    best = 0.0
    for first, second in ((a & ~b, b & ~a), (b & ~a, a & ~b)):
        would = own & ~(first | second)
        would |= int.from_bytes(by_one, "little") & first
        would |= int.from_bytes(by_two, "little") & second
        turned = would.to_bytes(size, "little")
        left = exclusive_or(turned, reads.other).translate(_NOT_NULL)
        left_open = (
            int.from_bytes(left, "little")
            & int.from_bytes(reads.xor.translate(_NOT_NULL), "little")
        ).bit_count()
        visible = size - exclusive_or(turned, reads.one).count(0)
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
