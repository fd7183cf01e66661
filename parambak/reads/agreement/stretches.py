"""Differences that are together: a contact lost for a stretch, which then holds one value or noise.

If the stretch ends with the chip, and holds 00 or FF, the read may have been cut short and filled
up.
"""

from __future__ import annotations

import re
from math import log2
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.reads.agreement.model import CONTACT_LOST, CUT_SHORT, Claim
from parambak.reads.agreement.two_reads import bytes_that

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.reads.agreement.two_reads import TwoReads

_DIFFERS: Final = re.compile(rb"[^\x00]")
_GAP: Final = re.compile(rb"\x00{8,}")
_MOST: Final = 48
_LOOKED_AT: Final = 400
_DENSE: Final = 0.9
_LONG: Final = 6
_SURE_BYTES: Final = 16
_SINGLE: Final = 0.9
_SINGLE_COSTS: Final = 3.0
_VALUES: Final = 4
_SOLID: Final = 0.5
"""Share of a stretch that was data: a few bytes that differ in a blank prove no lost contact."""
_NOISY: Final = 24
_PART: Final = 0.6
_VALUE: Final = {0xFF: 1.0, 0x00: 2.0}
"""Bits that give the value of an open bus: most are pulled up, or down."""


class _Stretch(NamedTuple):
    """A stretch, its value if one, how many bytes differ, and whether the second read errs."""

    low: int
    high: int
    value: int
    differing: int
    errs: bool = True


def claims(reads: TwoReads) -> Iterator[Claim]:
    """Yield that a contact was lost for some stretches: those of one value, and those of noise."""
    held = _held(reads)
    if held:
        yield from _of_one_value(reads, held)
    yield from _of_noise(reads)


def _held(reads: TwoReads) -> list[_Stretch]:
    """Return the stretches of one value, in either read, that explain differences: the first."""
    stretches: list[_Stretch] = []
    at = reads.first
    for _ in range(_LOOKED_AT):
        hit = _DIFFERS.search(reads.xor, at)
        if hit is None or len(stretches) == _MOST:
            break
        offset = hit.start()
        runs = (
            _run(reads, reads.second_read, offset, errs=True),
            _run(reads, reads.first_read, offset, errs=False),
        )
        best = max(runs, key=lambda stretch: stretch.differing)
        if best.differing > 1 and best.high - best.low >= _LONG - 2:
            stretches.append(best)
        at = best.high
    return stretches


def _run(reads: TwoReads, data: bytes, offset: int, *, errs: bool) -> _Stretch:
    """Return the run of one value around an offset; `differing` counts from the offset on."""
    low, high = _run_start(data, offset), _run_end(data, offset)
    differing = (high - offset) - reads.xor[offset:high].count(0)
    return _Stretch(low, high, data[offset], differing, errs)


def _run_end(data: bytes, offset: int) -> int:
    """Return the end of the run of one value around `offset`."""
    change = re.compile(b"[^" + re.escape(data[offset : offset + 1]) + b"]")
    end = change.search(data, offset)
    return end.start() if end else len(data)


def _run_start(data: bytes, offset: int) -> int:
    """Return the start of that run; the search goes back in growing steps."""
    value, window = data[offset : offset + 1], 64
    while True:
        low = max(0, offset - window)
        start = low + len(data[low:offset].rstrip(value))
        if start > low or not low:
            return start
        window *= 8


def _of_one_value(reads: TwoReads, held: list[_Stretch]) -> Iterator[Claim]:
    stretch_cost = 2 * reads.offset_cost
    per_byte = reads.null / reads.count
    held = [s for s in held if s.differing * per_byte > stretch_cost] or held[:1]
    if not any(stretch.errs for stretch in held):
        return  # yielded with the two reads in the other order
    hits = sum(stretch.differing for stretch in held)
    values = {stretch.value for stretch in held}
    cost = len(held) * stretch_cost + sum(_VALUE.get(value, 8.0) for value in values)
    values_shown = sum(
        stretch.differing * reads.cost[stretch.value] for stretch in held if stretch.errs
    )
    gain = reads.null - cost - reads.rest(reads.count - hits, max(0.0, reads.values - values_shown))
    if reads.single_bits > _SINGLE * reads.count:
        gain -= _SINGLE_COSTS * reads.count  # data seldom differ from a blank in one bit alone
    shown = " or ".join(f"{value:02X}" for value in sorted(values)[:3])
    in_both = not all(stretch.errs for stretch in held)
    empty, full = ("one read", "the other") if in_both else (reads.names[1], reads.names[0])
    text = (
        f"{empty} holds only {shown} {_where(reads, held)}, where {full} holds data: "
        f"{bytes_that(hits, reads.count, 'is', 'are')} there; a contact was lost"
    )
    share = hits / reads.count
    last = held[-1]
    trailing = (reads.size - reads.end) / reads.size
    to_end = len(held) == 1 and last.errs and last.high == reads.size and last.value in (0x00, 0xFF)
    related = reads.agreeing - reads.by_chance
    sure = min(hits, related) >= _SURE_BYTES and shown in {"00", "FF"} and not to_end
    sure = sure and not in_both and len({reads.first_read[at] for at in reads.sample}) >= _VALUES
    sure = sure and hits >= _SOLID * sum(_spread(reads, stretch) for stretch in held)
    yield Claim(CONTACT_LOST, gain, share, text, sure)
    if to_end and not (reads.lacks or reads.spare):
        text = (
            f"{reads.names[1]} holds only {shown} from {reads.at(last.low)} to the end, where "
            f"{reads.names[0]} holds data: {reads.names[1]} stopped there and was filled up, or a "
            "contact was lost"
        )
        nearer = min(6.0, -log2(trailing + 1 / 64)) - 3
        yield Claim(CUT_SHORT, gain + nearer, share, text, sure=False)


def _spread(reads: TwoReads, held: _Stretch) -> int:
    """Return the bytes of a stretch from its first difference to its last."""
    return len(reads.xor[held.low : held.high].strip(b"\x00"))


def _where(reads: TwoReads, held: list[_Stretch]) -> str:
    shown = [f"{reads.at(stretch.low)} to {reads.at(stretch.high - 1)}" for stretch in held[:4]]
    more = f" and {len(held) - 4} stretches more" if len(held) > 4 else ""
    return "from " + ", ".join(shown) + more


def _of_noise(reads: TwoReads) -> Iterator[Claim]:
    clusters = _clusters(reads)
    if not clusters:
        return
    long = [stretch for stretch in clusters if stretch.high - stretch.low >= _LONG]
    length = sum(stretch.high - stretch.low for stretch in long)
    hits = sum(stretch.differing for stretch in long)
    if not long or hits < _DENSE * length or hits < _DENSE * reads.count:
        return
    if (reads.agreeing < hits or length > _PART * reads.size) and not _noise_in_one(reads, long):
        return
    gain = min(24.0, 1.0 * hits, 4.0 * max(0.0, reads.agreeing - reads.by_chance))
    gain -= 2.0 * (len(long) - 1) + 2.0 * (reads.count - hits)
    text = (
        f"{bytes_that(hits, reads.count, 'is', 'are')} close together, {_where(reads, long)}, "
        f"in no order, and {reads.agreeing} bytes of data elsewhere agree: a contact was lost there"
    )
    yield Claim(CONTACT_LOST, gain, hits / reads.count, text, sure=False)


def _noise_in_one(reads: TwoReads, long: list[_Stretch]) -> bool:
    """Return whether one read, and not the other, holds bytes in no order there."""
    first = b"".join(reads.first_read[stretch.low : stretch.high] for stretch in long)
    second = b"".join(reads.second_read[stretch.low : stretch.high] for stretch in long)
    return len(first) >= _NOISY and _noisy(first) != _noisy(second)


def _noisy(data: bytes) -> bool:
    number = len(data)
    upper = len(data.translate(None, bytes(range(128))))
    return (
        data.count(0) < number / 25
        and 0.3 < upper / number < 0.7
        and data.count(0xFF) < number / 25
    )


def _clusters(reads: TwoReads) -> list[_Stretch]:
    """Return the stretches between gaps without a difference; none if they are many."""
    clusters: list[tuple[int, int]] = []
    low = reads.first
    for gap in _GAP.finditer(reads.xor, reads.first, reads.end):
        clusters.append((low, gap.start()))
        low = gap.end()
        if len(clusters) > _MOST:
            return []
    clusters.append((low, reads.end))
    return [_Stretch(a, b, 0, (b - a) - reads.xor[a:b].count(0)) for a, b in clusters]
