"""What of a memory a layout explains, by what, and what it does not."""

from __future__ import annotations

from bisect import bisect_right
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple

from msgspec import Struct

from parambak.layouts.slots import Slot, slots
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.layouts.model import Layout
    from parambak.layouts.slots import Slot

Which = Literal["volatile", "running", "belongs-to-card", "identifies-unit", "reserved"]


def joined(ranges: Iterable[Range]) -> tuple[Range, ...]:
    """Return the stretches in address order, those that touch or overlap joined."""
    stretches: list[Range] = []
    for stretch in sorted(ranges):
        if stretches and stretch.start <= stretches[-1].end:
            start = stretches[-1].start
            stretches[-1] = Range(start, max(stretches[-1].end, stretch.end) - start)
        else:
            stretches.append(stretch)
    return tuple(stretches)


def covered(layout: Layout) -> tuple[Range, ...]:
    """Return the stretches that a field, check or reserved area explains."""
    kept: tuple[Range, ...] | None = layout.__dict__.get("covered")
    if kept is None:
        kept = joined(Range(slot.at, slot.length) for slot in slots(layout))
        layout.__dict__["covered"] = kept
    return kept


def covered_bytes(layout: Layout) -> int:
    """Return how many bytes are explained."""
    return sum(stretch.length for stretch in covered(layout))


def gaps(layout: Layout) -> tuple[Range, ...]:
    """Return the stretches of the memory that no entry covers."""
    free = []
    start = 0
    for stretch in covered(layout):
        if stretch.start > start:
            free.append(Range(start, stretch.start - start))
        start = stretch.end
    if start < layout.memory:
        free.append(Range(start, layout.memory - start))
    return tuple(free)


def is_of(slot: Slot, which: Which) -> bool:
    """Return whether `slot` carries the mark `which`."""
    if which == "reserved":
        return slot.kind == "reserved"
    return bool(getattr(slot.entry, which.replace("-", "_"), False))


def ranges_of(layout: Layout, which: Which) -> tuple[Range, ...]:
    """Return the stretches of whole bytes in which something carries the mark `which`.

    A byte counts if one bit of it does: `masks` gives the single bits.
    """
    marked = (slot for slot in slots(layout) if is_of(slot, which))
    return joined(Range(slot.at, slot.length) for slot in marked)


def masks_of(slot: Slot) -> Mapping[int, int]:
    """Return which bits of each byte the slot takes: address to mask, 0xFF for all."""
    if slot.bit is None or slot.width is None:
        return dict.fromkeys(range(slot.at, slot.end), 0xFF)
    taken = ((1 << slot.width) - 1) << slot.bit
    stored = taken.to_bytes(slot.length, slot.byte_order)
    return {slot.at + index: mask for index, mask in enumerate(stored) if mask}


def explained_bits(layout: Layout) -> bytes:
    """Return the bits of each byte of the memory in which a change is accounted for.

    That is where a field or a check would show it, or where an area of unknown meaning is declared
    to change. A reserved area explains no change, nor does a spare bit next to flags. A changed
    byte is unmapped if `(old ^ new) & ~bits` is not 0.
    """
    kept: bytes | None = layout.__dict__.get("explained")
    if kept is None:
        bits = bytearray(layout.memory)
        for slot in slots(layout):
            if slot.kind == "reserved" and not slot.changes:
                continue
            if slot.width is None:
                bits[slot.at : slot.end] = b"\xff" * slot.length
            else:
                for address, mask in masks_of(slot).items():
                    bits[address] |= mask
        kept = bytes(bits)
        layout.__dict__["explained"] = kept
    return kept


def masks(layout: Layout, which: Which) -> Mapping[int, int]:
    """Return the bits of each byte that carry the mark `which`: address to mask.

    A changed byte is explained if `(old ^ new) & ~mask` is 0.
    """
    by_address: dict[int, int] = {}
    for slot in slots(layout):
        if is_of(slot, which):
            for address, mask in masks_of(slot).items():
                by_address[address] = by_address.get(address, 0) | mask
    return by_address


def slots_over(layout: Layout, start: int, length: int) -> tuple[Slot, ...]:
    """Return the slots that share a byte with the stretch, in address order."""
    in_order = slots(layout)
    longest: int | None = layout.__dict__.get("longest")
    if longest is None:
        longest = max((slot.length for slot in in_order), default=0)
        layout.__dict__["longest"] = longest
    first = bisect_right(in_order, start - longest, key=lambda slot: slot.at)
    last = bisect_right(in_order, start + length - 1, key=lambda slot: slot.at)
    return tuple(slot for slot in in_order[first:last] if slot.end > start)


def fields_over(layout: Layout, start: int, length: int) -> tuple[str, ...]:
    """Return the names of what shares a byte with the stretch, in address order, each once."""
    return tuple(dict.fromkeys(slot.name for slot in slots_over(layout, start, length)))


MOST_ROWS = 64

# Legible without colour; a cell of several bytes shows the last that applies to any of them.
CHARACTERS: Mapping[str, str] = MappingProxyType(
    {
        ".": "not in the layout",
        "-": "reserved",
        "#": "a field",
        "+": "a running field",
        "~": "volatile",
        "!": "a check",
    }
)
_ORDER = "".join(CHARACTERS)


class MapRow(NamedTuple):
    """One line of the picture: its first address, and a character for each cell."""

    start: int
    bytes_a_cell: int
    cells: str


def _character(slot: Slot) -> str:
    if slot.kind == "check":
        return "!"
    if slot.entry.volatile:
        return "~"
    if slot.kind == "reserved":
        return "-"
    return "+" if slot.entry.running else "#"


def picture(layout: Layout, columns: int = 64) -> tuple[MapRow, ...]:
    """Return the picture of the layout's memory in rows of `columns` cells.

    A cell is one byte, or the smallest power of two of bytes with which the picture has
    at most 64 rows.
    """
    size = 1
    while layout.memory > columns * size * MOST_ROWS:
        size *= 2
    cells = [0] * -(-layout.memory // size)
    for slot in slots(layout):
        rank = _ORDER.index(_character(slot))
        for cell in range(slot.at // size, (slot.end - 1) // size + 1):
            cells[cell] = max(cells[cell], rank)
    drawn = "".join(_ORDER[rank] for rank in cells)
    return tuple(
        MapRow(first * size, size, drawn[first : first + columns])
        for first in range(0, len(drawn), columns)
    )


class MapEntry(Struct, frozen=True):
    """One entry of the layout and the stretch that it takes; `rows` is of groups alone.

    `kind` is "field", "group", "check", "reserved", or "duplicate" of a block mirrored.
    A stretch may have holes; `coverage` gives what is covered byte by byte.
    """

    name: str
    kind: str
    start: int
    length: int
    rows: int | None = None


def parts(layout: Layout) -> tuple[MapEntry, ...]:
    """Return every entry of the layout in address order, a group as one, mirrors separately."""
    made: list[MapEntry] = []
    groups: dict[str, list[int]] = {}
    for slot in slots(layout):
        top = slot.name.split("[")[0]
        if slot.kind == "field" and slot.prefix and not slot.again:
            reach = groups.setdefault(top, [slot.at, slot.end])
            reach[0], reach[1] = min(reach[0], slot.at), max(reach[1], slot.end)
        elif not slot.again:
            made.append(MapEntry(slot.name, slot.kind, slot.at, slot.length))
        elif not slot.prefix and not _in_a_duplicate(layout, slot):
            made.append(MapEntry(f"{slot.name}, again", slot.kind, slot.at, slot.length))
    counts = {group.name: group.count for group in layout.groups}
    made += [
        MapEntry(name, "group", start, end - start, counts[name])
        for name, (start, end) in groups.items()
    ]
    made += [
        MapEntry(f"{block.name}, again", "duplicate", block.mirror_at, block.length)
        for block in layout.mirrored
    ]
    return tuple(sorted(made, key=lambda part: part.start))


def _in_a_duplicate(layout: Layout, slot: Slot) -> bool:
    return any(
        block.mirror_at <= slot.at and slot.end <= block.mirror_at + block.length
        for block in layout.mirrored
    )
