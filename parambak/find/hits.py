"""At which addresses of the copies the forms of a value are."""

from __future__ import annotations

import re
from collections import defaultdict
from math import log2
from typing import TYPE_CHECKING, NamedTuple

from parambak.find.forms import LONGEST, Span

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.find.chance import Chance
    from parambak.find.common_bytes import CommonBytes
    from parambak.find.forms import Form, Interpretation
    from parambak.find.panel_values import PanelValue

MOST_OF_A_FORM = 1000
"""Addresses of one form; a form at more of them proves nothing and is dropped."""
MOST_TRIED = 20_000
"""Places at which one copy's bytes are compared with the others'."""
MOST_OF_A_VALUE = 300
_EDGES = (0x00, 0xFF)
_EDGE_BITS = 1.5
"""The most bits that all the 00 or FF before a number, or after it, add."""
_UPPER_BITS, _UPPER_MOST = 2.0, 4.0
"""What each 00 or FF above a whole number may add, and all of them: a narrower field would
need them next to it by chance, in all copies. More would make widths too sure, in
memories that are blank at 00 above all (measured on invented controllers)."""


class Hit(NamedTuple):
    """An address of a form in all copies; `bits` against chance."""

    at: int
    length: int
    bits: float
    interpretations: tuple[Interpretation, ...]
    rounded: bool
    raws: tuple[bytes, ...]


class SearchBytes(NamedTuple):
    """All of the copies, and the part within reach of a change."""

    whole: CommonBytes
    changed: CommonBytes
    chance: Chance


def hits(
    searched: SearchBytes, panel_value: PanelValue, forms: Sequence[Form]
) -> tuple[list[Hit], bool]:
    """Return the hits of a value, most evidence first, and whether a form had too many."""
    hits_so_far: list[Hit] = []
    crowded: list[Form] = []
    for form in forms:
        near = panel_value.changed and form.length <= LONGEST
        common = searched.changed if near else searched.whole
        of_form = list(_of_form(common, searched.chance, panel_value, form, crowded))
        if form not in crowded[-1:]:
            hits_so_far.extend(of_form)
    hits_so_far.sort(key=lambda hit: -(hit.bits + log2(hit.interpretations[0].share)))
    return hits_so_far[:MOST_OF_A_VALUE], bool(crowded) or len(hits_so_far) > MOST_OF_A_VALUE


def _of_form(
    common: CommonBytes, chance: Chance, panel_value: PanelValue, form: Form, crowded: list[Form]
) -> Iterator[Hit]:
    """Yield the hits of one form; note it in `crowded` if they are too many."""
    seen = panel_value.seen
    rarest = max(seen, key=lambda index: _rarity(chance, form.needles[index]))
    count = 0
    text = form.interpretations[0].type.kind == "text"
    for tried, position in enumerate(_positions(common.datas[rarest], form.needles[rarest])):
        if tried > MOST_TRIED:
            crowded.append(form)
            return
        raws = _agreed(common, form, seen, position)
        at = common.address(position, form.length) if raws else None
        if raws is None or at is None or (text and not _padded(form, seen, raws)):
            continue
        bits, rounded = _bits(chance, form, seen, raws)
        yield Hit(at, form.length, bits, form.interpretations, rounded, raws)
        count += 1
        if count > MOST_OF_A_FORM:
            crowded.append(form)
            return


def _rarity(chance: Chance, needle: bytes | Span | None) -> float:
    if needle is None:
        return -1.0
    if isinstance(needle, Span):
        return _span_bits(chance, needle)
    return chance.bits(needle)


def _span_bits(chance: Chance, span: Span) -> float:
    """Return how unlikely it is that bytes at an address are one of the span's."""
    low, high = span.ends
    leading = span.leading
    same = len(leading)
    leading = leading.lstrip(b"\x00" if leading[:1] == b"\x00" else b"\xff")
    if same == span.length:
        return chance.bits(leading)
    values = high[same] - low[same] + 1
    rest = 1 << 8 * (span.length - same - 1)
    numbers = span.high - span.low + 1
    end = max(0.0, min(1.0, (numbers / rest - (values - 2)) / 2)) if values > 1 else numbers / rest
    bits = chance.span_bits(leading, low[same], high[same], end=end)
    return bits if span.tail is None else bits + chance.bits(bytes([span.tail]))


def _positions(data: bytes, needle: bytes | Span | None) -> Iterator[int]:
    """Yield every position of the needle, overlapping ones too."""
    if isinstance(needle, Span):
        yield from _of_span(data, needle)
    elif needle:
        position = data.find(needle)
        while position >= 0:
            yield position
            position = data.find(needle, position + 1)


def _of_span(data: bytes, span: Span) -> Iterator[int]:
    """Yield the positions of a span: searched by its leading bytes, then judged as numbers."""
    low, high = span.ends
    first = span.leading
    same = len(first)
    leading = [re.escape(first[index : index + 1]) for index in range(same)]
    if same < span.length:
        ends = (re.escape(end[same : same + 1]) for end in (low, high))
        leading.append(b"[" + b"-".join(ends) + b"]")
    skipped = 0
    if span.order == "little":
        leading.reverse()
        skipped = span.length - len(leading)
    search = re.compile(b"".join(leading), re.DOTALL).search
    match = search(data, skipped)
    while match:
        position = match.start() - skipped
        raw = data[position : position + span.length]
        if len(raw) == span.length and span.holds(raw):
            yield position
        match = search(data, match.start() + 1)


def _agreed(
    common: CommonBytes, form: Form, seen: Sequence[int], position: int
) -> tuple[bytes, ...] | None:
    """Return the bytes of the copies at a position, if each holds what it should."""
    raws = []
    for index in seen:
        needle = form.needles[index]
        raw = common.datas[index][position : position + form.length]
        if isinstance(needle, Span):
            if len(raw) < form.length or not needle.holds(raw):
                return None
        elif needle is None or not raw.startswith(needle):
            return None
        raws.append(raw)
    return tuple(raws)


def _padded(form: Form, seen: Sequence[int], raws: Sequence[bytes]) -> bool:
    """Return whether shorter texts are followed by padding alone, up to the longest."""
    for index, raw in zip(seen, raws, strict=True):
        needle = form.needles[index]
        if not isinstance(needle, bytes) or raw[len(needle) :].strip(b"\x00\xff "):
            return False
    return True


def _bits(
    chance: Chance, form: Form, seen: Sequence[int], raws: Sequence[bytes]
) -> tuple[float, bool]:
    """Return the bits of a hit, what a span leaves open taken off, and whether it is rounded."""
    total, rounded = 0.0, False
    first, last = (0, form.length) if form.interpretations[0].type.kind == "text" else _core(raws)
    total += _edges(form.interpretations[0], first, last)
    for number, (index, raw) in enumerate(zip(seen, raws, strict=True)):
        needle = form.needles[index]
        if isinstance(needle, Span):
            rounded = True
            if number:
                total += _span_change(chance, needle, raws[number - 1], raw)
            else:
                total += _span_bits(chance, needle)
        elif number:
            total += chance.change_bits(raws[number - 1][first:last], raw[first:last])
        else:
            total += chance.bits(raw[first:last])
    return total, rounded


def _edges(interpretation: Interpretation, first: int, last: int) -> float:
    """Return the bits of the 00 or FF before `first` and from `last` on."""
    before, behind = min(_EDGE_BITS, first), min(_EDGE_BITS, interpretation.length - last)
    if not interpretation.type.filled or first == last:
        return before + behind
    if interpretation.order == "big":
        return min(_UPPER_MOST, _UPPER_BITS * first) + behind
    return before + min(_UPPER_MOST, _UPPER_BITS * (interpretation.length - last))


def _core(raws: Sequence[bytes]) -> tuple[int, int]:
    """Return where the bytes begin and end, without the 00 or FF at the edges of all.

    The width of a small number is hard to see: the byte next to it is often 00.
    """
    first, last = 0, len(raws[0])
    for fill in _EDGES:
        while first < last and all(raw[first] == fill for raw in raws):
            first += 1
        while last > first and all(raw[last - 1] == fill for raw in raws):
            last -= 1
    return first, last


def _span_change(chance: Chance, span: Span, old: bytes, new: bytes) -> float:
    """Return the bits of a change into the span: of its leading bytes and the next alone."""
    if span.order == "little":
        old, new = old[::-1], new[::-1]
    low, high = span.ends
    same = len(span.leading)
    bits = chance.change_bits(old[: same + 1], new[: same + 1])
    if same == span.length:
        return bits
    return max(0.0, bits - log2(high[same] - low[same] + 1))


_REACH = 256
_BITS = 120.0
"""Bits that the bytes around must have, as well as the value's own, for two blocks to be twins."""
_MOST = 4


def twins(
    common: CommonBytes, chance: Chance, hits: Sequence[Hit]
) -> tuple[list[Hit], dict[tuple[int, int], tuple[int, ...]]]:
    """Return the hits without those that only repeat another hit, and where each is repeated."""
    by_bytes: dict[tuple[bytes, ...], list[Hit]] = defaultdict(list)
    for hit in hits:
        by_bytes[hit.raws].append(hit)
    also: dict[tuple[int, int], tuple[int, ...]] = {}
    dropped: set[tuple[int, int]] = set()
    for same in by_bytes.values():
        if not 2 <= len(same) <= _MOST:
            continue
        ordered = sorted(same, key=lambda hit: hit.at)
        first = ordered[0]
        rest = [hit for hit in ordered[1:] if _twin(common, chance, first, hit)]
        if rest:
            also[first.at, first.length] = tuple(hit.at for hit in rest)
            dropped.update((hit.at, hit.length) for hit in rest)
    return [hit for hit in hits if (hit.at, hit.length) not in dropped], also


def _twin(common: CommonBytes, chance: Chance, one: Hit, other: Hit) -> bool:
    """Return whether the bytes around both places are the same in every copy.

    What repeats itself within that stretch is a table's rows, not a block mirrored.
    """
    first, second = common.position(one.at), common.position(other.at)
    if first is None or second is None:
        return False
    apart = second - first
    before = min(_same_before(data, first, second) for data in common.datas)
    behind = min(
        _same_behind(data, first + one.length, second + one.length) for data in common.datas
    )
    if before + one.length + behind >= apart:
        return False
    data = common.datas[0]
    around = [data[first - before : first], data[first + one.length : first + one.length + behind]]
    return sum(chance.bits(pattern) for pattern in around if pattern) >= _BITS


def _same_before(data: bytes, first: int, second: int) -> int:
    reach = min(_REACH, first)
    one, other = data[first - reach : first], data[second - reach : second]
    if one == other:
        return reach
    differing = int.from_bytes(one, "big") ^ int.from_bytes(other, "big")
    lowest = (differing & -differing).bit_length() - 1
    return lowest // 8


def _same_behind(data: bytes, first: int, second: int) -> int:
    reach = min(_REACH, len(data) - second)
    one, other = data[first : first + reach], data[second : second + reach]
    if one == other:
        return reach
    differing = int.from_bytes(one, "big") ^ int.from_bytes(other, "big")
    return reach - (differing.bit_length() + 7) // 8
