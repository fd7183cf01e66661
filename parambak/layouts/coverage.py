"""What of a memory a layout explains, by what, and what it does not."""

from __future__ import annotations

from bisect import bisect_right
from typing import TYPE_CHECKING, Literal

from parambak.layouts.expanded import Place, places
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.layouts.model import Layout

Which = Literal["live", "expected-to-change", "belongs-to-card", "identifies-unit", "reserved"]


def joined(ranges: Iterable[Range]) -> tuple[Range, ...]:
    """Return the stretches in address order, those that touch or overlap joined."""
    found: list[Range] = []
    for each in sorted(ranges):
        if found and each.start <= found[-1].end:
            start = found[-1].start
            found[-1] = Range(start, max(found[-1].end, each.end) - start)
        else:
            found.append(each)
    return tuple(found)


def covered(layout: Layout) -> tuple[Range, ...]:
    """Return the stretches that a field, check or reserved area explains."""
    kept: tuple[Range, ...] | None = layout.__dict__.get("covered")
    if kept is None:
        kept = joined(Range(place.at, place.length) for place in places(layout))
        layout.__dict__["covered"] = kept
    return kept


def covered_bytes(layout: Layout) -> int:
    """Return how many bytes are explained."""
    return sum(each.length for each in covered(layout))


def gaps(layout: Layout) -> tuple[Range, ...]:
    """Return the stretches of the memory that nothing explains."""
    found = []
    start = 0
    for each in covered(layout):
        if each.start > start:
            found.append(Range(start, each.start - start))
        start = each.end
    if start < layout.memory:
        found.append(Range(start, layout.memory - start))
    return tuple(found)


def is_of(place: Place, which: Which) -> bool:
    """Return whether `place` carries the mark `which`."""
    return bool(getattr(place, which.replace("-", "_")))


def ranges_of(layout: Layout, which: Which) -> tuple[Range, ...]:
    """Return the stretches of whole bytes in which something carries the mark `which`.

    A byte counts where one bit of it does: `masks` tells bit from bit.
    """
    marked = (place for place in places(layout) if is_of(place, which))
    return joined(Range(place.at, place.length) for place in marked)


def masks_of(place: Place) -> Mapping[int, int]:
    """Return which bits of each byte the place takes: address to mask, 0xFF for all."""
    if place.bit is None or place.width is None:
        return dict.fromkeys(range(place.at, place.end), 0xFF)
    taken = ((1 << place.width) - 1) << place.bit
    stored = taken.to_bytes(place.length, place.byte_order)
    return {place.at + index: mask for index, mask in enumerate(stored) if mask}


def explained_bits(layout: Layout) -> bytes:
    """Return the bits of each byte of the memory in which a change is accounted for.

    That is where a field or a check would show it, or where an area without a known
    meaning is said to change. A reserved area explains no change, nor does a spare bit
    beside flags. A changed byte is unexplained where `(old ^ new) & ~bits` is not 0.
    """
    kept: bytes | None = layout.__dict__.get("explained")
    if kept is None:
        bits = bytearray(layout.memory)
        for place in places(layout):
            if place.reserved and not (place.expected_to_change or place.live):
                continue
            if place.width is None:
                bits[place.at : place.end] = b"\xff" * place.length
            else:
                for address, mask in masks_of(place).items():
                    bits[address] |= mask
        kept = bytes(bits)
        layout.__dict__["explained"] = kept
    return kept


def masks(layout: Layout, which: Which) -> Mapping[int, int]:
    """Return the bits of each byte that carry the mark `which`: address to mask.

    A changed byte is explained where `(old ^ new) & ~mask` is 0.
    """
    found: dict[int, int] = {}
    for place in places(layout):
        if is_of(place, which):
            for address, mask in masks_of(place).items():
                found[address] = found.get(address, 0) | mask
    return found


def places_over(layout: Layout, start: int, length: int) -> tuple[Place, ...]:
    """Return the places that share a byte with the stretch, in address order."""
    every = places(layout)
    longest: int | None = layout.__dict__.get("longest")
    if longest is None:
        longest = max((place.length for place in every), default=0)
        layout.__dict__["longest"] = longest
    first = bisect_right(every, start - longest, key=lambda place: place.at)
    last = bisect_right(every, start + length - 1, key=lambda place: place.at)
    return tuple(place for place in every[first:last] if place.end > start)


def fields_over(layout: Layout, start: int, length: int) -> tuple[str, ...]:
    """Return the names of what shares a byte with the stretch, in address order, each once."""
    return tuple(dict.fromkeys(place.name for place in places_over(layout, start, length)))


def name_at(layout: Layout, address: int) -> str | None:
    """Return the name of what stands at `address`, the first of several; None in a gap."""
    return next(iter(fields_over(layout, address, 1)), None)
