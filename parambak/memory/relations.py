"""How the bytes of one memory may stand to those of another: swapped, exchanged, shifted, halved.

Worked out once, for every room above. All of it is slices and whole-number arithmetic over
the bytes at once, so that 16 MiB take a fraction of a second. A figure is the share of the
*telling* addresses that agree, from 0 to 1: an address at which both sides hold the filling
value (the commonest byte) tells nothing, since two blank chips agree there too.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator


def exclusive_or(one: bytes, other: bytes) -> bytes:
    """Return the exclusive or of two stretches of one length."""
    both = int.from_bytes(one, "little") ^ int.from_bytes(other, "little")
    return both.to_bytes(len(one), "little")


SWAPPED_16: Final = "swapped-16"
SWAPPED_32: Final = "swapped-32"
WORDS_SWAPPED: Final = "words-swapped"
EXCHANGED: Final = "halves-exchanged"
SHIFTED: Final = "shifted"
REPEATED: Final = "repeated"
EVEN: Final = "even-bytes"
ODD: Final = "odd-bytes"
LOW: Final = "low-half"
HIGH: Final = "high-half"

FARTHEST: Final = 65536
"""Bytes by which a shift is looked for, either way."""

_ANCHORS: Final = 12
_ANCHOR: Final = 16
_SAMPLE: Final = 65536
_SHIFTS: Final = 6
_NOT_NULL: Final = b"\x00" + b"\x01" * 255
_ENOUGH: Final = 0.5
_LEFT: Final = 0.15
"""Share of the data that a shift must leave within the memory to be told at all."""


class Relation(NamedTuple):
    """What one side is of the other: `kind`, and the share (0 to 1) that it explains.

    `by` is how many bytes a shift moves the other side up (below 0: down), `start` the
    first place from which it does.
    """

    kind: str
    share: float
    by: int = 0
    start: int = 0


def differing(one: bytes, other: bytes) -> int:
    """Return at how many places two stretches of one length differ."""
    return 0 if one == other else len(one) - exclusive_or(one, other).count(0)


def filling(data: bytes, sample: int = _SAMPLE) -> int:
    """Return the commonest byte, of a sample spread evenly over a large stretch; FF for none.

    `sample` is how many bytes are looked at, about; fewer do where a near miss does no harm.
    """
    step = len(data) // sample | 1
    return Counter(data[::step]).most_common(1)[0][0] if data else 0xFF


def likeness(one: bytes, other: bytes, fill: int) -> float:
    """Return the share of the telling places at which two stretches of one length agree.

    Telling is a place at which either holds another value than `fill`; 0 where there is none.
    """
    if not one:
        return 0.0
    mask = bytes([fill]) * len(one)
    differ = exclusive_or(one, other).translate(_NOT_NULL)
    mine = exclusive_or(one, mask).translate(_NOT_NULL)
    telling = int.from_bytes(mine, "little") | int.from_bytes(differ, "little")
    places = telling.bit_count()
    return (places - differ.count(1)) / places if places else 0.0


def swapped(data: bytes, size: int, unit: int = 1) -> bytes:
    """Return words of `size` bytes with their units of `unit` bytes in the other order.

    `swapped(data, 2)` swaps the two bytes of each 16-bit word, `swapped(data, 4)` turns
    the four of a 32-bit word round, `swapped(data, 4, 2)` exchanges its two 16-bit words.
    What is no whole word at the end stays as it is.
    """
    whole = len(data) // size * size
    turned = bytearray(data)
    for at in range(size):
        source = size - unit - at // unit * unit + at % unit
        turned[at:whole:size] = data[source:whole:size]
    return bytes(turned)


def exchanged(data: bytes) -> bytes:
    """Return the two halves of a stretch in the other order; an odd middle byte stays last."""
    half = len(data) // 2
    return data[half : 2 * half] + data[:half] + data[2 * half :]


def every_other(data: bytes) -> tuple[bytes, bytes]:
    """Return the bytes at even places and those at odd places."""
    return data[0::2], data[1::2]


def interleaved(even: bytes, odd: bytes) -> bytes:
    """Return the stretch whose even and odd bytes these are; `odd` may be one shorter."""
    whole = bytearray(len(even) + len(odd))
    whole[0::2], whole[1::2] = even, odd
    return bytes(whole)


def partners(data: bytes, step: int, start: int = 0) -> bytes:
    """Return for each address the byte where address bit `step` (a power of two) is the other.

    `start` is the address of the first byte. A place without a partner keeps its own byte.
    """
    front = start % (2 * step)
    tail = -(front + len(data)) % (2 * step)
    padded = bytes(front) + data + bytes(tail)
    low = int.from_bytes((b"\xff" * step + bytes(step)) * (len(padded) // (2 * step)), "little")
    turned = _turned(int.from_bytes(padded, "little"), low, 8 * step)
    if front or tail:
        present = int.from_bytes(bytes(front) + b"\xff" * len(data) + bytes(tail), "little")
        alone = present & ~_turned(present, low, 8 * step)
        turned |= int.from_bytes(padded, "little") & alone
    return turned.to_bytes(len(padded), "little")[front : front + len(data)]


def _turned(value: int, low: int, bits: int) -> int:
    return (value >> bits & low) | ((value & low) << bits)


def shift(one: bytes, other: bytes) -> Relation | None:
    """Return by how many bytes `other` stands higher than `one`, or None where no shift shows.

    The two may differ in length. What is before the first difference stays where it is: a
    byte lost or doubled on the way shifts only what follows. Looked for up to `FARTHEST`
    bytes either way, and as far as the first or last bytes that are not filling.
    """
    common = min(len(one), len(other))
    start = first_difference(one, other)
    if start == common:
        return None
    fill = filling(one)
    votes = Counter(_shifts(one, other, start, fill))
    best: Relation | None = None
    least = _LEFT * _telling(one[start:], fill)
    for by, _ in votes.most_common(_SHIFTS):
        here, there = _overlap(one, other, start, by)
        share = likeness(here, there, fill)
        closer = best is None or (share, -abs(by)) > (best.share, -abs(best.by))
        if share > _ENOUGH and closer and _telling(here, fill) >= least:
            best = Relation(SHIFTED, share, by, start)
    return best


def _telling(data: bytes, fill: int) -> int:
    return len(data) - data.count(fill)


def shifted(one: bytes, length: int, relation: Relation, fill: int) -> bytes:
    """Return what `other` would be, by a shift found: `length` bytes, unknown ones `fill`."""
    by, start = relation.by, relation.start
    tail = bytes([fill]) * by + one[start:] if by > 0 else one[start - by :]
    whole = one[:start] + tail
    return whole[:length] + bytes([fill]) * (length - len(whole))


def _overlap(one: bytes, other: bytes, start: int, by: int) -> tuple[bytes, bytes]:
    here, there = one[start + max(0, -by) :], other[start + max(0, by) :]
    length = min(len(here), len(there))
    return here[:length], there[:length]


def first_difference(one: bytes, other: bytes) -> int:
    """Return the first place at which they differ, the shorter's length where none does."""
    common = min(len(one), len(other))
    if one[:common] == other[:common]:
        return common
    low, high = 0, common
    while high - low > 1:
        middle = (low + high) // 2
        if one[low:middle] == other[low:middle]:
            low = middle
        else:
            high = middle
    return low


def _shifts(one: bytes, other: bytes, start: int, fill: int) -> Iterator[int]:
    """Yield shifts worth trying: by anchors found again, and by where the data begin and end."""
    blank = bytes([fill])
    telling = re.compile(b"[^" + re.escape(blank) + b"]")
    for at in range(start, len(one), max(1, (len(one) - start) // _ANCHORS)):
        found = telling.search(one, at)
        if found is None:
            break
        place = found.start()
        anchor = one[place : place + _ANCHOR]
        low, high = max(start, place - FARTHEST), place + FARTHEST + _ANCHOR
        for again in (other.find(anchor, place, high), other.rfind(anchor, low, place + _ANCHOR)):
            if again not in (-1, place):
                yield again - place
    tail_here, tail_there = one[start:], other[start:]
    ends = len(tail_there.rstrip(blank)) - len(tail_here.rstrip(blank))
    begins = len(tail_here.lstrip(blank)) - len(tail_there.lstrip(blank))
    begins += len(tail_there) - len(tail_here)
    yield from (by for by in (begins, ends) if by)


def repeats(whole: bytes, part: bytes) -> Relation | None:
    """Return how far `whole`, longer, is `part` over and over; None where it is not longer."""
    if not part or len(whole) <= len(part):
        return None
    over = (part * (len(whole) // len(part) + 1))[: len(whole)]
    return Relation(REPEATED, likeness(over, whole, filling(part)), len(part))


def relations(one: bytes, other: bytes) -> tuple[Relation, ...]:
    """Return what `other` may be of `one`, the best explained first.

    Two of one length: words swapped, halves exchanged, a shift. Of two lengths: a repeat of
    the other, its even or odd bytes, one of its halves, a shift. Only what explains more
    than half of the telling bytes is named; two that are equal have no relation.
    """
    if one == other:
        return ()
    fill = filling(one)
    found = [each for each in (repeats(other, one), repeats(one, other)) if each is not None]
    found += [Relation(kind, likeness(a, b, fill)) for kind, a, b in _ways(one, other)]
    moved = shift(one, other)
    found += [moved] if moved is not None else []
    longest = max(len(one), len(other))

    def explained(each: Relation) -> float:
        moved_out = abs(each.by) if each.kind == SHIFTED else 0
        return each.share * (longest - moved_out) / longest

    found = [each for each in found if each.share > _ENOUGH]
    return tuple(sorted(found, key=explained, reverse=True))


def _ways(one: bytes, other: bytes) -> Iterator[tuple[str, bytes, bytes]]:
    if len(one) == len(other):
        yield SWAPPED_16, swapped(one, 2), other
        yield SWAPPED_32, swapped(one, 4), other
        yield WORDS_SWAPPED, swapped(one, 4, 2), other
        yield EXCHANGED, exchanged(one), other
    whole, part = (one, other) if len(one) > len(other) else (other, one)
    if len(whole) == 2 * len(part):
        even, odd = every_other(whole)
        half = len(part)
        yield EVEN, even, part
        yield ODD, odd, part
        yield LOW, whole[:half], part
        yield HIGH, whole[half:], part
