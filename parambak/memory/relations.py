"""How the bytes of two memories may be related: swapped, exchanged, shifted, halved.

All of it is slices and whole-number arithmetic over the bytes at once, so 16 MiB take a fraction
of a second. A figure is the share of the *telling* addresses that agree, from 0 to 1. An address
is not telling if both sides hold the filling value (the commonest byte): two blank chips agree
there too.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator


def exclusive_or(first: bytes, second: bytes) -> bytes:
    """Return the exclusive or of two stretches of one length."""
    both = int.from_bytes(first, "little") ^ int.from_bytes(second, "little")
    return both.to_bytes(len(first), "little")


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
"""The largest shift that is searched for, up or down, in bytes."""

_ANCHORS: Final = 12
_ANCHOR: Final = 16
_SAMPLE: Final = 65536
_SHIFTS: Final = 6
_NOT_NULL: Final = b"\x00" + b"\x01" * 255
_ENOUGH: Final = 0.5
_LEFT: Final = 0.15
"""Share of the data that a shift must leave within the memory to be recognised."""


class Relation(NamedTuple):
    """How one side is related to the other: `kind`, and the share (0 to 1) that it explains.

    `by` is how many bytes a shift moves the second side up (below 0: down), `start` the first
    offset that it moves.
    """

    kind: str
    share: float
    by: int = 0
    start: int = 0


def differing(first: bytes, second: bytes) -> int:
    """Return at how many offsets two stretches of one length differ."""
    return 0 if first == second else len(first) - exclusive_or(first, second).count(0)


def filling(data: bytes, sample: int = _SAMPLE) -> int:
    """Return the commonest byte, of a sample spread evenly over a large stretch; FF for none.

    `sample` is how many bytes are looked at, about; use fewer if a near miss does no harm.
    """
    step = len(data) // sample | 1
    return Counter(data[::step]).most_common(1)[0][0] if data else 0xFF


def likeness(first: bytes, second: bytes, fill: int) -> float:
    """Return the share of the telling offsets at which two stretches of one length agree.

    An address counts if either holds another value than `fill`; 0 if no address counts.
    """
    if not first:
        return 0.0
    mask = bytes([fill]) * len(first)
    differ = exclusive_or(first, second).translate(_NOT_NULL)
    of_first = exclusive_or(first, mask).translate(_NOT_NULL)
    telling = int.from_bytes(of_first, "little") | int.from_bytes(differ, "little")
    number = telling.bit_count()
    return (number - differ.count(1)) / number if number else 0.0


def swapped(data: bytes, size: int, unit: int = 1) -> bytes:
    """Return words of `size` bytes with their units of `unit` bytes in the other order.

    `swapped(data, 2)` swaps the two bytes of each 16-bit word, `swapped(data, 4)` turns
    the four of a 32-bit word round, `swapped(data, 4, 2)` exchanges its two 16-bit words.
    An incomplete word at the end stays as it is.
    """
    words_end = len(data) // size * size
    turned = bytearray(data)
    for at in range(size):
        source = size - unit - at // unit * unit + at % unit
        turned[at:words_end:size] = data[source:words_end:size]
    return bytes(turned)


def exchanged(data: bytes) -> bytes:
    """Return the two halves of a stretch in the other order; an odd middle byte stays last."""
    half = len(data) // 2
    return data[half : 2 * half] + data[:half] + data[2 * half :]


def every_other(data: bytes) -> tuple[bytes, bytes]:
    """Return the bytes at even offsets and those at odd offsets."""
    return data[0::2], data[1::2]


def interleaved(even: bytes, odd: bytes) -> bytes:
    """Return the stretch whose even and odd bytes these are; `odd` may be one shorter."""
    joined = bytearray(len(even) + len(odd))
    joined[0::2], joined[1::2] = even, odd
    return bytes(joined)


def partners(data: bytes, step: int, start: int = 0) -> bytes:
    """Return for each address the byte at the other level of address bit `step` (a power of two).

    `start` is the address of the first byte. An address without a partner keeps its byte.
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


def shift(first: bytes, second: bytes) -> Relation | None:
    """Return by how many bytes `second` is higher than `first`, or None if no shift explains them.

    The two may differ in length. What is before the first difference stays where it is: a
    byte lost or doubled on the way shifts only what follows. Looked for up to `FARTHEST`
    bytes either way, and as far as the first or last bytes that are not filling.
    """
    common = min(len(first), len(second))
    start = first_difference(first, second)
    if start == common:
        return None
    fill = filling(first)
    votes = Counter(_shifts(first, second, start, fill))
    best: Relation | None = None
    least = _LEFT * _telling(first[start:], fill)
    for by, _ in votes.most_common(_SHIFTS):
        first_part, second_part = _overlap(first, second, start, by)
        share = likeness(first_part, second_part, fill)
        closer = best is None or (share, -abs(by)) > (best.share, -abs(best.by))
        if share > _ENOUGH and closer and _telling(first_part, fill) >= least:
            best = Relation(SHIFTED, share, by, start)
    return best


def _telling(data: bytes, fill: int) -> int:
    return len(data) - data.count(fill)


def shifted(first: bytes, length: int, relation: Relation, fill: int) -> bytes:
    """Return `first` after a shift: `length` bytes, those not recorded as `fill`."""
    by, start = relation.by, relation.start
    tail = bytes([fill]) * by + first[start:] if by > 0 else first[start - by :]
    moved = first[:start] + tail
    return moved[:length] + bytes([fill]) * (length - len(moved))


def _overlap(first: bytes, second: bytes, start: int, by: int) -> tuple[bytes, bytes]:
    first_part, second_part = first[start + max(0, -by) :], second[start + max(0, by) :]
    length = min(len(first_part), len(second_part))
    return first_part[:length], second_part[:length]


def first_difference(first: bytes, second: bytes) -> int:
    """Return the first offset at which they differ, or the shorter length if they do not."""
    common = min(len(first), len(second))
    if first[:common] == second[:common]:
        return common
    low, high = 0, common
    while high - low > 1:
        middle = (low + high) // 2
        if first[low:middle] == second[low:middle]:
            low = middle
        else:
            high = middle
    return low


def _shifts(first: bytes, second: bytes, start: int, fill: int) -> Iterator[int]:
    """Yield likely shifts: by anchors that occur in both, and by where the data begin and end."""
    blank = bytes([fill])
    telling = re.compile(b"[^" + re.escape(blank) + b"]")
    for at in range(start, len(first), max(1, (len(first) - start) // _ANCHORS)):
        hit = telling.search(first, at)
        if hit is None:
            break
        offset = hit.start()
        anchor = first[offset : offset + _ANCHOR]
        low, high = max(start, offset - FARTHEST), offset + FARTHEST + _ANCHOR
        for again in (
            second.find(anchor, offset, high),
            second.rfind(anchor, low, offset + _ANCHOR),
        ):
            if again not in (-1, offset):
                yield again - offset
    tail_here, tail_there = first[start:], second[start:]
    ends = len(tail_there.rstrip(blank)) - len(tail_here.rstrip(blank))
    begins = len(tail_here.lstrip(blank)) - len(tail_there.lstrip(blank))
    begins += len(tail_there) - len(tail_here)
    yield from (by for by in (begins, ends) if by)


def repeats(longer: bytes, part: bytes) -> Relation | None:
    """Return how far `longer` repeats `part` to its end; None if it is not longer."""
    if not part or len(longer) <= len(part):
        return None
    over = (part * (len(longer) // len(part) + 1))[: len(longer)]
    return Relation(REPEATED, likeness(over, longer, filling(part)), len(part))


def relations(first: bytes, second: bytes) -> tuple[Relation, ...]:
    """Return what `second` may be of `first`, the best explained first.

    Two of one length: words swapped, halves exchanged, a shift. Of two lengths: a repeat of
    the other, its even or odd bytes, one of its halves, a shift. Only what explains more
    than half of the telling bytes is named; two that are equal have no relation.
    """
    if first == second:
        return ()
    fill = filling(first)
    candidates = [
        relation
        for relation in (repeats(second, first), repeats(first, second))
        if relation is not None
    ]
    candidates += [Relation(kind, likeness(a, b, fill)) for kind, a, b in _ways(first, second)]
    moved = shift(first, second)
    candidates += [moved] if moved is not None else []
    longest = max(len(first), len(second))

    def explained(relation: Relation) -> float:
        moved_out = abs(relation.by) if relation.kind == SHIFTED else 0
        return relation.share * (longest - moved_out) / longest

    candidates = [relation for relation in candidates if relation.share > _ENOUGH]
    return tuple(sorted(candidates, key=explained, reverse=True))


def _ways(first: bytes, second: bytes) -> Iterator[tuple[str, bytes, bytes]]:
    if len(first) == len(second):
        yield SWAPPED_16, swapped(first, 2), second
        yield SWAPPED_32, swapped(first, 4), second
        yield WORDS_SWAPPED, swapped(first, 4, 2), second
        yield EXCHANGED, exchanged(first), second
    longer, shorter = (first, second) if len(first) > len(second) else (second, first)
    if len(longer) == 2 * len(shorter):
        even, odd = every_other(longer)
        half = len(shorter)
        yield EVEN, even, shorter
        yield ODD, odd, shorter
        yield LOW, longer[:half], shorter
        yield HIGH, longer[half:], shorter
