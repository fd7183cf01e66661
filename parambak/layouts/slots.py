"""Every field, check and reserved area at its address, groups row by row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, TypeVar

from msgspec import Struct
from msgspec.structs import replace

from parambak.layouts.check_methods import stored_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from parambak.layouts.field_types import ByteOrder
    from parambak.layouts.model import (
        Check,
        Field,
        Group,
        Layout,
        Mirrored,
        Reserved,
    )

T = TypeVar("T")
Kind = Literal["field", "check", "reserved"]


class Slot(Struct, frozen=True, eq=False):
    """A stretch of the memory that the layout explains.

    `name` is written out ("channel[3].upper_limit"); `at` and `length` are in bytes;
    `bit` and `width` are of flags and bits, counted in the whole of the bytes taken in
    `byte_order`. `again` marks a further address of the same value (`mirror-at`, or the
    duplicate of a block mirrored). `row` is the row's own name, `prefix` the part of
    the name before the field's.
    """

    name: str
    at: int
    length: int
    kind: Kind
    entry: Field | Check | Reserved
    byte_order: ByteOrder
    bit: int | None = None
    width: int | None = None
    again: bool = False
    row: str | None = None
    prefix: str = ""

    @property
    def end(self) -> int:
        """Return the first address after the slot."""
        return self.at + self.length

    @property
    def changes(self) -> bool:
        """Return whether a change is normal there: it is running or volatile."""
        return self.entry.running or self.entry.volatile


def of_fields(
    fields: Iterable[Field],
    order: ByteOrder,
    *,
    base: int = 0,
    prefix: str = "",
    row: str | None = None,
) -> Iterator[Slot]:
    """Yield the slots of `fields` whose addresses count from `base`."""
    for field in fields:
        for again, at in enumerate((field.at, *field.mirror_at)):
            yield Slot(
                prefix + field.name,
                base + at,
                field.stored_length,
                "field",
                field,
                field.byte_order or order,
                field.bit,
                field.stored_width,
                again=again > 0,
                row=row,
                prefix=prefix,
            )


def of_group(
    group: Group, order: ByteOrder, *, base: int = 0, prefix: str = "", row: str | None = None
) -> Iterator[Slot]:
    """Yield the slots of a group, row by row, groups in it included."""
    for index in range(group.count):
        start = base + group.at + index * (group.row_size or 0)
        name = f"{prefix}{group.name}[{index + 1}]."
        label = group.rows[index] if index < len(group.rows) else row
        yield from of_fields(group.field, order, base=start, prefix=name, row=label)
        for inner in group.group:
            yield from of_group(inner, order, base=start, prefix=name, row=label)


def count_slots(group: Group) -> int:
    """Return how many slots the group makes when written out."""
    of_row = sum(1 + len(field.mirror_at) for field in group.field)
    # A row without any field still counts: walking through it takes time too.
    return group.count * max(1, of_row + sum(count_slots(inner) for inner in group.group))


def of_check(check: Check, order: ByteOrder) -> Slot:
    """Return the slot of a check's stored value."""
    length, order = stored_length(check), check.byte_order or order
    return Slot(check.name, check.at, length, "check", check, order)


def of_reserved(area: Reserved, order: ByteOrder) -> Slot:
    """Return the slot of a reserved area."""
    return Slot(area.name, area.at, area.length, "reserved", area, order)


def of_duplicates(written: list[Slot], blocks: Iterable[Mirrored]) -> Iterator[Slot]:
    """Yield, for each slot inside a mirrored block, its twin in the duplicate."""
    for block in blocks:
        for slot in written:
            if block.at <= slot.at and slot.end <= block.at + block.length:
                yield replace(slot, at=slot.at - block.at + block.mirror_at, again=True)


def named_from(by_name: Mapping[str, T], name: str, prefix: str) -> T | None:
    """Return what `name` means in the row `prefix`: the row's own first, then outwards."""
    while True:
        slot = by_name.get(prefix + name)
        if slot is not None or not prefix:
            return slot
        prefix = prefix[: prefix.rstrip(".").rfind(".") + 1]


def slots(layout: Layout) -> tuple[Slot, ...]:
    """Return every slot of the layout in address order, bits of one byte lowest first.

    Worked out once for each layout and kept with it.
    """
    kept: tuple[Slot, ...] | None = layout.__dict__.get("slots")
    if kept is None:
        order = layout.byte_order
        written = list(of_fields(layout.fields, order))
        for group in layout.groups:
            written.extend(of_group(group, order))
        written.extend(of_check(check, order) for check in layout.checks)
        written.extend(of_reserved(area, order) for area in layout.reserved)
        written.extend(list(of_duplicates(written, layout.mirrored)))
        kept = tuple(sorted(written, key=lambda slot: (slot.at, slot.bit or 0)))
        layout.__dict__["slots"] = kept
    return kept
