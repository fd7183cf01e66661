"""Stored check values: which range and which method explain one, over several images.

A value that is a check changes when the bytes that it covers do. So only bytes that
changed are asked, and each range is worked out in every image: all must agree. Ranges
begin at a stretch's start, behind blanks, at a power of two, or right behind the stored
value; they end right before it, or before a power of two, blanks or the end.
"""

from __future__ import annotations

import re
import zlib
from collections import defaultdict
from functools import reduce
from math import ceil, log2
from operator import mul, xor
from typing import TYPE_CHECKING, NamedTuple

from parambak.find.forms import ORDERS
from parambak.layouts import check_methods
from parambak.layouts.check_methods import CRC_NAMES, compute, stored_length, width
from parambak.layouts.model import Check
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

    from parambak.find.common_bytes import CommonBytes
    from parambak.layouts.check_methods import CheckMethod
    from parambak.layouts.field_types import ByteOrder

Value = tuple[str, int, int, "ByteOrder | None"]
"""A method, its value, how many bytes it takes, and the byte order of the computation."""

_LEFT_OUT = ("crc-82/darc",)
"""No library works it out quickly."""


def _methods_tried() -> list[CheckMethod]:
    """Return every method that has a width of its own, each once."""
    rows = {row.name: row for row in check_methods.METHODS.values()}
    return [row for row in rows.values() if row.bits is not None and row.name not in _LEFT_OUT]


def crc_makers(least: int) -> dict[str, tuple[Callable[..., int], int]]:
    """Return each CRC of the catalogue of `least` bits or more: its function, its bytes."""
    import anycrc  # noqa: PLC0415 - slow to import, and only checks need it

    made = {}
    for row in _methods_tried():
        bits = row.bits or 0
        if row.name in CRC_NAMES and bits >= least:
            library_name = row.name.replace("crc-", "crc", 1).replace("/", "-").upper()
            made[row.name] = anycrc.Model(library_name).calc, (bits + 7) // 8
    return made


def crc_values(
    calc: Callable[..., int], data: bytes, start: int, ends: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Yield (end, CRC of data from `start` up to `end`) for rising ends."""
    position, value = start, None
    for end in ends:
        piece = data[position:end]
        value = calc(piece) if value is None else calc(piece, value)
        position = end
        yield end, value


def plain_values(
    data: bytes, start: int, ends: Sequence[int]
) -> Iterator[tuple[int, tuple[Value, ...]]]:
    """Yield (end, values of every sum and exclusive-or) for rising ends."""
    state = _Plain()
    slow = _worked_out_whole()
    position = start
    for end in ends:
        state.take(data[position:end])
        position = end
        yield end, (*state.values(), *_slow_values(slow, data[start:end] if slow else b""))


def _worked_out_whole() -> list[CheckMethod]:
    """Return the methods that neither a CRC's register nor `_Plain` works out on the way."""
    quick = {name for name, *_ in _Plain().values()} | {*CRC_NAMES}
    return [row for row in _methods_tried() if row.name not in quick]


def _slow_values(methods: Iterable[CheckMethod], data: bytes) -> Iterator[Value]:
    for method in methods:
        check = Check(name="tried", method=method.name, over=((0, len(data) - 1),), at=0)
        for order in ORDERS:
            yield method.name, compute(check, data, order), stored_length(check), order


class _Plain:
    """Sums and exclusive-ors by a byte's place in a word of four."""

    def __init__(self) -> None:
        self._length = 0
        self._sums = [0, 0, 0, 0]
        self._xors = [0, 0]
        self._second = 0
        self._adler = 1

    def take(self, piece: bytes) -> None:
        """Go on over the next bytes."""
        self._second += len(piece) * sum(self._sums)
        self._second += sum(map(mul, piece, range(len(piece), 0, -1)))
        for index in range(4):
            plane = (self._length + index) % 4
            self._sums[plane] += sum(piece[index::4])
        for index in range(2):
            plane = (self._length + index) % 2
            self._xors[plane] = reduce(xor, piece[index::2], self._xors[plane])
        self._adler = zlib.adler32(piece, self._adler)
        self._length += len(piece)

    def values(self) -> Iterator[Value]:
        """Yield each method's value over the bytes so far."""
        total = sum(self._sums)
        first, second, third, fourth = self._sums
        even, odd = first + third, second + fourth
        one, other = self._xors
        for bits in (8, 16, 24, 32):
            yield from _complemented(f"sum-{bits}", total, None)
        yield from _complemented("word-sum-16", (even << 8) + odd, "big")
        yield from _complemented("word-sum-16", even + (odd << 8), "little")
        wide = (first << 24) + (second << 16) + (third << 8) + fourth
        yield from _complemented("word-sum-32", wide, "big")
        wide = first + (second << 8) + (third << 16) + (fourth << 24)
        yield from _complemented("word-sum-32", wide, "little")
        yield from _complemented("xor-8", one ^ other, None)
        yield from _complemented("xor-16", one << 8 | other, "big")
        yield from _complemented("xor-16", one | other << 8, "little")
        yield "fletcher-16", self._second % 255 << 8 | total % 255, 2, None
        yield "adler-32", self._adler, 4, None


def _complemented(method: str, value: int, order: ByteOrder | None) -> Iterator[Value]:
    bits = check_methods.METHODS[method].bits or 8
    mask, length = (1 << bits) - 1, bits // 8
    yield method, value & mask, length, order
    yield f"{method}-ones-complement", ~value & mask, length, order
    yield f"{method}-twos-complement", -value & mask, length, order


MOST_STARTS = 12
MOST_PLACES = 800
MOST_BOUNDARIES = 40
MOST_BYTES = 64 << 20
"""Bytes that the starts of a stretch together run over; further starts are not tried."""
LEAST_RANGE = 4
CONFIDENT_BITS = 8.0
SHOWN = 12
_BLANKS = re.compile(rb"\xff{16,}|\x00{16,}")
_HEADERS = 6
"""Starts at which a stored value is tried before its own range."""


class LikelyCheck(NamedTuple):
    """A check that holds in all images.

    `bits` is what speaks against chance, all the ranges and methods tried taken off;
    `images` how many different contents it was proved over; `also` names what else
    explains the same stored value.
    """

    method: str
    at: int
    length: int
    byte_order: ByteOrder
    over: tuple[int, int]
    bits: float
    images: int
    also: tuple[str, ...] = ()

    @property
    def confident(self) -> bool:
        """Return whether it reaches the threshold."""
        return self.bits >= CONFIDENT_BITS

    @property
    def odds(self) -> int:
        """Return the odds against chance, to one."""
        return int(2.0 ** min(self.bits, 20.0))

    @property
    def evidence(self) -> tuple[str, ...]:
        """Return the evidence for the check, in words."""
        contents = f"holds over {self.images} different contents"
        also = f"{', '.join(self.also)} would also explain it" if self.also else ""
        return (contents, also) if also else (contents,)


class _Match(NamedTuple):
    """A value that is stored where a check may be, in the first image."""

    method: str
    at: int
    length: int
    order: ByteOrder
    start: int
    end: int


def find_checks(
    common: CommonBytes, changes: Sequence[Range]
) -> tuple[list[LikelyCheck], list[str]]:
    """Return the likely checks, best first, and notes on what was not searched."""
    if len(common.datas) < 2 or not changes:
        return [], ["checks need two images that differ: in one image a match may be chance"]
    checks: list[LikelyCheck] = []
    notes: list[str] = []
    first = 0
    for stretch in common.ranges[:8]:
        datas = tuple(data[first : first + stretch.length] for data in common.datas)
        inside = [
            Range(change.start - first, change.length)
            for change in changes
            if first <= change.start and change.end <= first + stretch.length
        ]
        checks += _of_stretch(datas, inside, stretch.start, notes)
        first += stretch.length
    return _best(checks), list(dict.fromkeys(notes))


def _of_stretch(
    datas: Sequence[bytes], changes: Sequence[Range], base: int, notes: list[str]
) -> list[LikelyCheck]:
    places = _places(datas[0], changes)
    if len(places) > MOST_PLACES:
        notes.append(
            f"checks were searched at the first {MOST_PLACES} of {len(places)} changed addresses"
        )
        places = places[:MOST_PLACES]
    starts, boundaries = _starts(datas[0]), _boundaries(datas[0])
    most = max(1, MOST_BYTES // max(1, len(datas[0])))
    if len(starts) > most:
        notes.append(f"checks were searched from the first {most} of {len(starts)} starts")
    starts = starts[:most]
    stored = _stored(datas[0], places)
    everywhere = 1 + log2(max(1, len(places)) * len(_methods_tried()))
    least = ceil(everywhere / len(set(datas)))
    if least > 8:
        notes.append(f"these images are too few to prove a check of less than {least} bits")
    makers = crc_makers(least)
    checks = []
    for start, rank, header in starts:
        ends = boundaries if header else [*places, *boundaries]
        sought = _Sought(ends, frozenset(boundaries), stored, makers, least)
        for match in _matches(datas[0], start, sought):
            choices = everywhere + 2 * log2(1 + rank) + 1
            if match.end != match.at:
                choices += 1 if match.end == len(datas[0]) else 1 + log2(len(boundaries))
            proved = _proved(datas, match, choices, base)
            if proved:
                checks.append(proved)
    return checks


def _places(data: bytes, changes: Sequence[Range]) -> list[int]:
    """Return where a stored value that changed may begin."""
    places: set[int] = set()
    for change in changes:
        begin, end = max(0, change.start - 3), change.end
        if change.length <= 64:
            places.update(range(begin, end))
        else:
            places.update(range(begin, change.start + 8))
            places.update(range(end - 8, end))
    return sorted(place for place in places if place < len(data))


def _starts(data: bytes) -> list[tuple[int, int, bool]]:
    """Return where ranges begin, each with its rank, and whether a stored value goes before."""
    behind = [match.end() for match in _BLANKS.finditer(data)]
    powers = [1 << power for power in range(4, 24) if 1 << power < len(data)]
    ordered = dict.fromkeys([0, *behind[: MOST_STARTS // 2], *reversed(powers), *behind])
    starts = [start for start in ordered if start < len(data) - LEAST_RANGE][:MOST_STARTS]
    headers = {
        start + length: rank
        for rank, start in reversed(list(enumerate(starts[:_HEADERS])))
        for length in (1, 2, 4)
    }
    return [
        *((start, rank, False) for rank, start in enumerate(starts)),
        *((start, rank, True) for start, rank in headers.items() if start not in starts),
    ]


def _boundaries(data: bytes) -> list[int]:
    """Return where ranges end that do not end directly before the stored value."""
    powers = [1 << power for power in range(4, 25) if 1 << power <= len(data)]
    # A block with its check in the last bytes ends that much before a power of two.
    ends = {len(data) - length for length in (0, 1, 2, 4)}
    ends.update(power - length for power in powers for length in (0, 1, 2, 4))
    blanks = [match.start() for match in _BLANKS.finditer(data)]
    return sorted({*ends, *blanks[:MOST_BOUNDARIES]})[-3 * MOST_BOUNDARIES :]


Stored = dict[tuple[int, int], list[tuple[int, "ByteOrder"]]]


def _stored(data: bytes, places: Iterable[int]) -> Stored:
    """Return where each number of one to eight bytes is stored, by (number, length)."""
    stored: Stored = defaultdict(list)
    for place in places:
        for length in (1, 2, 3, 4, 5, 8):
            raw = data[place : place + length]
            if len(raw) == length:
                for order in ORDERS[: 1 if length == 1 else 2]:
                    stored[int.from_bytes(raw, order), length].append((place, order))
    return stored


class _Sought(NamedTuple):
    """What a start is tried with."""

    ends: Iterable[int]
    outer: frozenset[int]
    stored: Stored
    makers: Mapping[str, tuple[Callable[..., int], int]]
    least: int


def _matches(data: bytes, start: int, sought: _Sought) -> Iterator[_Match]:
    """Yield what is stored somewhere as the value of a range that begins at `start`."""
    stored, outer = sought.stored, sought.outer
    rising = sorted({end for end in sought.ends if end >= start + LEAST_RANGE})
    for name, (calc, length) in sought.makers.items():
        for end, value in crc_values(calc, data, start, rising):
            for place, order in stored.get((value, length), ()):
                if _apart(place, length, start, end, outer):
                    yield _Match(name, place, length, order, start, end)
    for end, values in plain_values(data, start, rising):
        for name, value, length, own_order in values:
            if 8 * length < sought.least:
                continue
            for place, order in stored.get((value, length), ()):
                if own_order in {None, order} and _apart(place, length, start, end, outer):
                    yield _Match(name, place, length, order, start, end)


def _apart(place: int, length: int, start: int, end: int, outer: frozenset[int]) -> bool:
    """Return whether a value stored at `place` can belong to the range."""
    return place == end or (end in outer and (place > end or place + length == start))


def _proved(datas: Sequence[bytes], match: _Match, choices: float, base: int) -> LikelyCheck | None:
    """Return the check if it holds in every image, over two different contents or more."""
    check = Check(
        name="found", method=match.method, over=((match.start, match.end - 1),), at=match.at
    )
    stood = {data[match.at : match.at + match.length] for data in datas}
    if len(stood) < 2:
        return None
    contents: dict[bytes, bytes] = {}
    for data in datas:
        covered = data[match.start : match.end]
        raw = data[match.at : match.at + match.length]
        if len(set(covered)) < 2:
            return None  # blank or nearly blank: several methods give 0 over it
        if compute(check, covered, match.order) != int.from_bytes(raw, match.order):
            return None
        contents[covered] = raw
    if len(contents) < 2 or len(set(contents.values())) < 2:
        return None
    high_first = [raw if match.order == "big" else raw[::-1] for raw in contents.values()]
    blank = 0
    while blank < match.length and all(raw[blank] == 0 for raw in high_first):
        blank += 1
    gain = min(width(check), 8 * (match.length - blank))
    bits = gain * len(contents) - choices
    over = (base + match.start, base + match.end - 1)
    return LikelyCheck(
        match.method, base + match.at, match.length, match.order, over, bits, len(contents)
    )


def _best(likely: Sequence[LikelyCheck]) -> list[LikelyCheck]:
    """Return one check for each stored place, with the names of others that explain it."""
    ordered = sorted(
        likely,
        key=lambda check: (
            -round(check.bits, 3), check.length, check.at != check.over[1] + 1, check.over[0],
            len(check.method), check.method,
        ),
    )  # fmt: skip
    kept: list[LikelyCheck] = []
    also: dict[int, list[str]] = defaultdict(list)
    for check in ordered:
        over_it = [
            number
            for number, better in enumerate(kept)
            if better.at < check.at + check.length and check.at < better.at + better.length
        ]
        if over_it:
            text = f"{check.method} over 0x{check.over[0]:04X}-0x{check.over[1]:04X}"
            if check.bits > kept[over_it[0]].bits - 3:
                also[over_it[0]].append(text)
        elif check.bits > 0:
            kept.append(check)
    return [
        check._replace(also=tuple(dict.fromkeys(also[number]))[:4])
        for number, check in enumerate(kept)
    ][:SHOWN]
