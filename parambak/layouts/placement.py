"""Where things stand: inside the memory, in a known byte order, and not on each other."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts import faults
from parambak.layouts.coverage import masks_of
from parambak.layouts.expanded import Place, field_length
from parambak.layouts.mistakes import describe
from parambak.layouts.words import TYPES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.layouts.mistakes import Ledger, Path, Source
    from parambak.layouts.model import Field, Group

# Families whose byte order changes nothing.
_ORDERLESS = frozenset({"text", "date-time", "bytes"})


class Spot(NamedTuple):
    """A file and the path in it: where a mistake about an entry is to be shown."""

    source: Source
    path: Path


def judge_span(  # noqa: PLR0913, PLR0917 - a stretch, and where to note it
    spot: Spot, key: str, start: int, length: int, memory: int, ledger: Ledger
) -> None:
    """Note a stretch that begins below 0 or ends past the memory."""
    if start < 0 or start + max(length, 1) > memory:
        ledger.note(
            faults.ADDRESS,
            spot.source,
            (*spot.path, key),
            expected=f"inside 0x0000 to 0x{memory - 1:04X}",
            found=_stretch(start, length),
        )


def _stretch(start: int, length: int) -> str:
    last = start + max(length, 1) - 1
    if start < 0 or last >= 1 << 64:
        return f"{describe(start)}, {length} bytes"
    return f"0x{start:04X}" if last == start else f"0x{start:04X} to 0x{last:04X}"


def judge_field_room(
    spot: Spot, field: Field, base: tuple[int, int], memory: int, ledger: Ledger
) -> None:
    """Note a field outside the memory; `base` is where its first and its last row begin."""
    first, last = base
    length = field_length(field)
    if field.at < 0:
        judge_span(spot, "at", field.at, length, memory, ledger)
    else:
        start = first + field.at if first + field.at < 0 else last + field.at
        judge_span(spot, "at", start, length, memory, ledger)
    for index, at in enumerate(field.also_at):
        inner = Spot(spot.source, (*spot.path, "also-at"))
        judge_span(inner, "", first + at if at < 0 else last + at, length, memory, ledger)
        del index


def judge_order(spot: Spot, field: Field, ledger: Ledger, *, known: bool) -> None:
    """Note a field of several bytes whose order nothing says."""
    if known or field.byte_order is not None or TYPES[field.type].family in _ORDERLESS:
        return
    if field_length(field) > 1:
        ledger.note(faults.BYTE_ORDER, spot.source, spot.path, expected="`byte-order`")


def last_row(group: Group, base: tuple[int, int]) -> tuple[int, int]:
    """Return where the first and the last row of `group` begin."""
    first, last = base
    return first + group.at, last + group.at + (group.count - 1) * (group.step or 0)


def judge_overlaps(
    found: Sequence[Place], spots: Mapping[int, Spot], ledger: Ledger, *, rows: bool
) -> None:
    """Note places that stand on the same bytes, or the same bits, and do not say so.

    `spots` tells by the identity of its entry where each is written. Each pair of
    entries is noted once, however many rows they have. Without `rows`, rows of one entry
    are not held against each other, since how far apart they are is not known.
    """
    said: set[tuple[int, int]] = set()
    if not rows:
        said = {(id(place.entry), id(place.entry)) for place in found}
    whole = sorted(
        (place for place in found if place.width is None and not _shares(place)),
        key=lambda place: place.at,
    )
    widest: Place | None = None
    for place in whole:
        if widest is not None and place.at < widest.end:
            _note(place, widest, spots, said, ledger)
        if widest is None or place.end > widest.end:
            widest = place
    _judge_bits(
        [place for place in found if place.width is not None and not _shares(place)],
        whole,
        spots,
        said,
        ledger,
    )


def _shares(place: Place) -> bool:
    return place.entry.shares


def _judge_bits(
    bits: Sequence[Place],
    whole: Sequence[Place],
    spots: Mapping[int, Spot],
    said: set[tuple[int, int]],
    ledger: Ledger,
) -> None:
    starts = [place.at for place in whole]
    taken: dict[int, list[tuple[int, Place]]] = {}
    for place in bits:
        before = bisect_right(starts, place.end - 1) - 1
        if before >= 0 and whole[before].end > place.at:
            _note(place, whole[before], spots, said, ledger)
        for address, mask in masks_of(place).items():
            others = taken.setdefault(address, [])
            clash = next((other for held, other in others if held & mask), None)
            if clash is not None:
                _note(place, clash, spots, said, ledger)
            else:
                others.append((mask, place))


def _note(
    place: Place,
    other: Place,
    spots: Mapping[int, Spot],
    said: set[tuple[int, int]],
    ledger: Ledger,
) -> None:
    pair = (id(other.entry), id(place.entry))
    if pair in said:
        return
    said.add(pair)
    spot = spots[id(place.entry)]
    ledger.note(
        faults.OVERLAP,
        spot.source,
        (*spot.path, "at"),
        other=f"{other.kind} {describe(other.name)}",
        expected="bytes of its own",
        found=f"{describe(place.name)} at {_stretch(place.at, place.length)}, "
        f"{describe(other.name)} at {_stretch(other.at, other.length)}",
    )
