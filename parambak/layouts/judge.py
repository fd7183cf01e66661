"""A layout judged: first every entry for itself, then all entries together."""

from __future__ import annotations

from bisect import bisect_right
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts import entry_rules, faults, slots
from parambak.layouts.check_methods import stored_length
from parambak.layouts.coverage import masks_of
from parambak.layouts.entry_rules import judge_check
from parambak.layouts.mistakes import Spot, advice, describe
from parambak.layouts.model import MOST_FIELDS, Field

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.layouts.mistakes import Ledger, Source
    from parambak.layouts.model import Group, LayoutFile
    from parambak.layouts.slots import Slot


class LayoutPart(NamedTuple):
    """One file of a layout: its text, and its tables."""

    source: Source
    tables: LayoutFile


def judge_span(spot: Spot, key: str, start: int, length: int, memory: int) -> None:
    """Note a stretch that begins below 0 or ends past the memory."""
    if start < 0 or start + max(length, 1) > memory:
        expected = f"inside 0x0000 to 0x{memory - 1:04X}"
        spot.note(faults.ADDRESS, key, expected, _stretch(start, length))


def _stretch(start: int, length: int) -> str:
    last = start + max(length, 1) - 1
    if start < 0 or last >= 1 << 64:
        return f"{describe(start)}, {length} bytes"
    return f"0x{start:04X}" if last == start else f"0x{start:04X} to 0x{last:04X}"


def judge_field_address(spot: Spot, field: Field, base: tuple[int, int], memory: int) -> None:
    """Note a field outside the memory; `base` is where its first and its last row begin."""
    first, last = base
    length = field.stored_length
    if field.at < 0:
        judge_span(spot, "at", field.at, length, memory)
    else:
        start = first + field.at if first + field.at < 0 else last + field.at
        judge_span(spot, "at", start, length, memory)
    for at in field.mirror_at:
        judge_span(spot, "mirror-at", first + at if at < 0 else last + at, length, memory)


def judge_order(spot: Spot, field: Field, *, ordered: bool) -> None:
    """Note a field of several bytes whose byte order is missing."""
    if ordered or field.byte_order is not None or not field.type.ordered:
        return
    if field.stored_length > 1:
        spot.note(faults.BYTE_ORDER, expected="`byte-order`")


def last_row(group: Group, base: tuple[int, int]) -> tuple[int, int]:
    """Return where the first and the last row of `group` begin."""
    first, last = base
    return first + group.at, last + group.at + (group.count - 1) * (group.row_size or 0)


class _Overlaps:
    """Notes slots that use the same bytes or bits without `shares`.

    `spots` gives by the identity of an entry where it is written. Each pair of
    entries is noted once, however many rows they have. Without `rows`, rows of one entry
    are not compared with each other, because the row size is missing.
    """

    def __init__(self, written: Sequence[Slot], spots: Mapping[int, Spot], *, rows: bool) -> None:
        alone = [slot for slot in written if not slot.entry.shares]
        self.bits = [slot for slot in alone if slot.width is not None]
        self.bytes = sorted(
            (slot for slot in alone if slot.width is None), key=lambda slot: slot.at
        )
        self.spots = spots
        self.noted = set() if rows else {(id(slot.entry), id(slot.entry)) for slot in written}

    def judge(self) -> None:
        widest: Slot | None = None
        for slot in self.bytes:
            if widest is not None and slot.at < widest.end:
                self._note(slot, widest)
            if widest is None or slot.end > widest.end:
                widest = slot
        self._judge_bits()

    def _judge_bits(self) -> None:
        starts = [slot.at for slot in self.bytes]
        taken: dict[int, list[tuple[int, Slot]]] = {}
        for slot in self.bits:
            before = bisect_right(starts, slot.end - 1) - 1
            if before >= 0 and self.bytes[before].end > slot.at:
                self._note(slot, self.bytes[before])
            for address, mask in masks_of(slot).items():
                others = taken.setdefault(address, [])
                clash = next((other for held, other in others if held & mask), None)
                if clash is not None:
                    self._note(slot, clash)
                else:
                    others.append((mask, slot))

    def _note(self, slot: Slot, other: Slot) -> None:
        pair = (id(other.entry), id(slot.entry))
        if pair in self.noted:
            return
        self.noted.add(pair)
        named = f"{other.kind} {describe(other.name)}"
        expected = "bytes that no other entry uses"
        both = (f"{describe(of.name)} at {_stretch(of.at, of.length)}" for of in (slot, other))
        spot = self.spots[id(slot.entry)]
        spot.note(faults.OVERLAP, "at", expected, ", ".join(both), other=named)


class Judge:
    """Notes in a ledger all that is not valid in the files of a layout."""

    def __init__(self, files: Sequence[LayoutPart], ledger: Ledger) -> None:
        self.files = files
        self.head = files[0].tables.layout
        self.ledger = ledger
        self.top = Spot(ledger, files[0].source)
        self.memory = self.head.memory or 0
        written = files[0].source.tree.get("layout")
        self.written = written if isinstance(written, dict) else {}
        # A word that is no byte order is noted once, not in every field too.
        self.ordered = "byte-order" in self.written
        self.spots: dict[int, Spot] = {}
        self.taken: dict[str, str] = {}
        self.taken_checks: dict[str, str] = {}
        self.stepless = False

    def run(self) -> None:
        """Judge everything; what needs a valid memory size is judged only with one."""
        for key in ("title", "memory"):
            if key not in self.written:
                spot = self.top.within("layout")
                spot.note(faults.KEY_MISSING, expected=f"`{key}`", key=key, where="[layout]")
        for part in self.files:
            spot = Spot(self.ledger, part.source)
            entry_rules.judge_texts(spot)
            self._judge_entries(spot, part.tables)
            if self.memory:
                self._judge_stored(spot, part.tables)
        if self.memory and not self.ledger.full:
            self._judge_slots()

    def _judge_entries(self, file: Spot, tables: LayoutFile) -> None:
        self._judge_fields(file, tables.field, self.taken, (0, 0))
        for index, group in enumerate(tables.group):
            self._judge_group(file.entry("group", index), group, self.taken, (0, 0))
        for index, check in enumerate(tables.check):
            spot = self.spots[id(check)] = file.entry("check", index)
            entry_rules.judge_taken(spot, check.name, self.taken_checks)
            if stored_length(check) > 1 and not self.ordered and check.byte_order is None:
                spot.note(faults.BYTE_ORDER, expected="`byte-order`")

    def _judge_fields(
        self, table: Spot, fields: tuple[Field, ...], taken: dict[str, str], base: tuple[int, int]
    ) -> None:
        for index, field in enumerate(fields):
            spot = self.spots[id(field)] = table.entry("field", index)
            entry_rules.judge_name(spot, field.name, taken)
            entry_rules.judge_field(spot, field)
            judge_order(spot, field, ordered=self.ordered)
            if self.memory:
                judge_field_address(spot, field, base, self.memory)

    def _judge_group(
        self, spot: Spot, group: Group, taken: dict[str, str], base: tuple[int, int]
    ) -> None:
        entry_rules.judge_name(spot, group.name, taken)
        entry_rules.judge_group(spot, group)
        self.stepless = self.stepless or (group.count > 1 and group.row_size is None)
        if group.at < 0:
            judge_span(spot, "at", group.at, 1, self.memory or 1)
            return
        rows = last_row(group, base)
        scope: dict[str, str] = {}
        self._judge_fields(spot, group.field, scope, rows)
        for index, inner in enumerate(group.group):
            self._judge_group(spot.entry("group", index), inner, scope, rows)

    def _judge_stored(self, file: Spot, tables: LayoutFile) -> None:
        """Judge the entries outside groups: checks, reserved areas, blocks."""
        memory = self.memory
        for index, check in enumerate(tables.check):
            spot = file.entry("check", index)
            judge_check(spot, check, memory)
            judge_span(spot, "at", check.at, stored_length(check), memory)
        for index, area in enumerate(tables.reserved):
            spot = self.spots[id(area)] = file.entry("reserved", index)
            entry_rules.judge_stretch(spot, area)
            judge_span(spot, "at", area.at, area.length, memory)
        for index, block in enumerate(tables.mirrored):
            spot = file.entry("mirrored", index)
            entry_rules.judge_stretch(spot, block)
            judge_span(spot, "at", block.at, block.length, memory)
            judge_span(spot, "mirror-at", block.mirror_at, block.length, memory)
            between = abs(block.at - block.mirror_at)
            if between < block.length:
                expected = f"at least {block.length} bytes between the two"
                found = describe(between)
                spot.note(faults.OVERLAP, "mirror-at", expected, found, other="its duplicate")

    def _judge_slots(self) -> None:
        written = self._slots()
        if written is None:
            self.top.note(faults.TOO_MANY_FIELDS, "group", f"at most {MOST_FIELDS}")
            return
        sound = [slot for slot in written if self._is_sound(slot)]
        _Overlaps(sound, self.spots, rows=not self.stepless).judge()
        self._judge_limit_names(written)

    def _slots(self) -> list[Slot] | None:
        """Return every slot, None if there are too many."""
        order = self.head.byte_order or "big"
        groups = [group for part in self.files for group in part.tables.group]
        if sum(map(slots.count_slots, groups)) > MOST_FIELDS:
            return None
        written: list[Slot] = []
        for part in self.files:
            written.extend(slots.of_fields(part.tables.field, order))
            for group in part.tables.group:
                written.extend(slots.of_group(group, order))
            written.extend(slots.of_check(check, order) for check in part.tables.check)
            written.extend(slots.of_reserved(area, order) for area in part.tables.reserved)
        blocks = [block for part in self.files for block in part.tables.mirrored]
        written.extend(list(islice(slots.of_duplicates(written, blocks), MOST_FIELDS + 1)))
        return written if len(written) <= MOST_FIELDS else None

    def _is_sound(self, slot: Slot) -> bool:
        """Return whether the slot can be compared with others: if not, it is noted already."""
        if slot.at < 0 or slot.length < 1 or slot.end > self.memory:
            return False
        if slot.width is None:
            # Bits without a width take no complete byte from their neighbours.
            return not (isinstance(slot.entry, Field) and slot.entry.type.takes_bits)
        bit = slot.bit or 0
        return bit >= 0 and slot.width >= 1 and bit + slot.width <= 8 * slot.length

    def _judge_limit_names(self, written: list[Slot]) -> None:
        """Note limits taken from a field that is not there, or holds no number."""
        by_name: dict[str, Field] | None = None
        judged: set[int] = set()
        for slot in written:
            field = slot.entry
            if not isinstance(field, Field) or id(field) in judged:
                continue
            if field.low_from is None and field.high_from is None:
                continue
            judged.add(id(field))
            if by_name is None:
                by_name = {
                    named.name: named.entry for named in written if isinstance(named.entry, Field)
                }
            for key, name in (("low-from", field.low_from), ("high-from", field.high_from)):
                if name is not None:
                    self._judge_limit_name(field, key, name, slot.prefix, by_name)

    def _judge_limit_name(
        self, field: Field, key: str, name: str, prefix: str, by_name: dict[str, Field]
    ) -> None:
        other = slots.named_from(by_name, name, prefix)
        if other is not None and other.type.is_number:
            return
        names = dict.fromkeys(field.name for field in by_name.values())
        expected = "the name of a field that holds a number"
        instead = advice(name, list(names))
        self.spots[id(field)].note(
            faults.LIMIT_FIELD, key, expected, describe(name), advice=instead
        )
