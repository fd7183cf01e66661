"""A layout judged: first every entry for itself, then all entries together."""

from __future__ import annotations

from bisect import bisect_right
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts import entry_rules, faults, slots
from parambak.layouts.check_methods import stored_length
from parambak.layouts.coverage import masks_of
from parambak.layouts.entry_rules import judge_check
from parambak.layouts.mistakes import advice, describe
from parambak.layouts.model import MOST_FIELDS, Field

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.layouts.mistakes import Ledger, Path, Source
    from parambak.layouts.model import Group, LayoutFile
    from parambak.layouts.slots import Slot


class LayoutPart(NamedTuple):
    """One file of a layout: its text, and its tables."""

    source: Source
    tables: LayoutFile


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


def judge_field_address(
    spot: Spot, field: Field, base: tuple[int, int], memory: int, ledger: Ledger
) -> None:
    """Note a field outside the memory; `base` is where its first and its last row begin."""
    first, last = base
    length = field.stored_length
    if field.at < 0:
        judge_span(spot, "at", field.at, length, memory, ledger)
    else:
        start = first + field.at if first + field.at < 0 else last + field.at
        judge_span(spot, "at", start, length, memory, ledger)
    for at in field.mirror_at:
        inner = Spot(spot.source, (*spot.path, "mirror-at"))
        judge_span(inner, "", first + at if at < 0 else last + at, length, memory, ledger)


def judge_order(spot: Spot, field: Field, ledger: Ledger, *, ordered: bool) -> None:
    """Note a field of several bytes whose byte order is missing."""
    if ordered or field.byte_order is not None or not field.type.ordered:
        return
    if field.stored_length > 1:
        ledger.note(faults.BYTE_ORDER, spot.source, spot.path, expected="`byte-order`")


def last_row(group: Group, base: tuple[int, int]) -> tuple[int, int]:
    """Return where the first and the last row of `group` begin."""
    first, last = base
    return first + group.at, last + group.at + (group.count - 1) * (group.row_size or 0)


def judge_overlaps(
    written: Sequence[Slot], spots: Mapping[int, Spot], ledger: Ledger, *, rows: bool
) -> None:
    """Note slots that use the same bytes or bits without `shares`.

    `spots` gives by the identity of an entry where it is written. Each pair of
    entries is noted once, however many rows they have. Without `rows`, rows of one entry
    are not compared with each other, because the row size is missing.
    """
    noted: set[tuple[int, int]] = set()
    if not rows:
        noted = {(id(slot.entry), id(slot.entry)) for slot in written}
    byte_slots = sorted(
        (slot for slot in written if slot.width is None and not _shares(slot)),
        key=lambda slot: slot.at,
    )
    widest: Slot | None = None
    for slot in byte_slots:
        if widest is not None and slot.at < widest.end:
            _note(slot, widest, spots, noted, ledger)
        if widest is None or slot.end > widest.end:
            widest = slot
    _judge_bits(
        [slot for slot in written if slot.width is not None and not _shares(slot)],
        byte_slots,
        spots,
        noted,
        ledger,
    )


def _shares(slot: Slot) -> bool:
    return slot.entry.shares


def _judge_bits(
    bits: Sequence[Slot],
    byte_slots: Sequence[Slot],
    spots: Mapping[int, Spot],
    noted: set[tuple[int, int]],
    ledger: Ledger,
) -> None:
    starts = [slot.at for slot in byte_slots]
    taken: dict[int, list[tuple[int, Slot]]] = {}
    for slot in bits:
        before = bisect_right(starts, slot.end - 1) - 1
        if before >= 0 and byte_slots[before].end > slot.at:
            _note(slot, byte_slots[before], spots, noted, ledger)
        for address, mask in masks_of(slot).items():
            others = taken.setdefault(address, [])
            clash = next((other for held, other in others if held & mask), None)
            if clash is not None:
                _note(slot, clash, spots, noted, ledger)
            else:
                others.append((mask, slot))


def _note(
    slot: Slot,
    other: Slot,
    spots: Mapping[int, Spot],
    noted: set[tuple[int, int]],
    ledger: Ledger,
) -> None:
    pair = (id(other.entry), id(slot.entry))
    if pair in noted:
        return
    noted.add(pair)
    spot = spots[id(slot.entry)]
    ledger.note(
        faults.OVERLAP,
        spot.source,
        (*spot.path, "at"),
        other=f"{other.kind} {describe(other.name)}",
        expected="bytes that no other entry uses",
        found=f"{describe(slot.name)} at {_stretch(slot.at, slot.length)}, "
        f"{describe(other.name)} at {_stretch(other.at, other.length)}",
    )


class Judge:
    """Notes in a ledger all that is not valid in the files of a layout."""

    def __init__(self, files: Sequence[LayoutPart], ledger: Ledger) -> None:
        self.files = files
        self.head = files[0].tables.layout
        self.ledger = ledger
        self.memory = self.head.memory or 0
        written = self.files[0].source.tree.get("layout")
        # A word that is no byte order is noted once, not in every field too.
        self.ordered = isinstance(written, dict) and "byte-order" in written
        self.spots: dict[int, Spot] = {}
        self.taken: dict[str, str] = {}
        self.taken_checks: dict[str, str] = {}
        self.stepless = False

    def run(self) -> None:
        """Judge everything; what needs a valid memory size is judged only with one."""
        self._judge_head()
        for part in self.files:
            entry_rules.judge_texts(part.source, self.ledger)
            self._judge_entries(part)
            if self.memory:
                self._judge_stored(part)
        if self.memory and not self.ledger.full:
            self._judge_slots()

    def _judge_head(self) -> None:
        source = self.files[0].source
        written = source.tree.get("layout", {})
        for key in ("title", "memory"):
            if not isinstance(written, dict) or key not in written:
                self.ledger.note(
                    faults.KEY_MISSING,
                    source,
                    ("layout",),
                    where="[layout]",
                    key=key,
                    expected=f"`{key}`",
                )

    def _judge_entries(self, part: LayoutPart) -> None:
        source, tables = part.source, part.tables
        self._judge_fields(source, ("field",), tables.field, self.taken, (0, 0))
        for index, group in enumerate(tables.group):
            self._judge_group(source, source.entry(("group",), index), group, self.taken, (0, 0))
        for index, check in enumerate(tables.check):
            path = source.entry(("check",), index)
            entry_rules.judge_taken(source, path, check.name, self.taken_checks, self.ledger)
            self.spots[id(check)] = Spot(source, path)
            if stored_length(check) > 1 and not self.ordered and check.byte_order is None:
                self.ledger.note(faults.BYTE_ORDER, source, path, expected="`byte-order`")

    def _judge_fields(
        self,
        source: Source,
        path: Path,
        fields: tuple[Field, ...],
        taken: dict[str, str],
        base: tuple[int, int],
    ) -> None:
        for index, field in enumerate(fields):
            here = source.entry(path, index)
            spot = Spot(source, here)
            self.spots[id(field)] = spot
            entry_rules.judge_names(source, [(here, field.name)], taken, self.ledger)
            entry_rules.judge_field(source, here, field, self.ledger)
            judge_order(spot, field, self.ledger, ordered=self.ordered)
            if self.memory:
                judge_field_address(spot, field, base, self.memory, self.ledger)

    def _judge_group(
        self, source: Source, path: Path, group: Group, taken: dict[str, str], base: tuple[int, int]
    ) -> None:
        entry_rules.judge_names(source, [(path, group.name)], taken, self.ledger)
        entry_rules.judge_group(source, path, group, self.ledger)
        self.stepless = self.stepless or (group.count > 1 and group.row_size is None)
        if group.at < 0:
            judge_span(Spot(source, path), "at", group.at, 1, self.memory or 1, self.ledger)
            return
        rows = last_row(group, base)
        scope: dict[str, str] = {}
        self._judge_fields(source, (*path, "field"), group.field, scope, rows)
        for index, inner in enumerate(group.group):
            where = source.entry((*path, "group"), index)
            self._judge_group(source, where, inner, scope, rows)

    def _judge_stored(self, part: LayoutPart) -> None:
        """Judge the entries outside groups: checks, reserved areas, blocks."""
        source, tables, memory = part.source, part.tables, self.memory
        for index, check in enumerate(tables.check):
            spot = Spot(source, source.entry(("check",), index))
            judge_check(source, spot.path, check, memory, self.ledger)
            judge_span(spot, "at", check.at, stored_length(check), memory, self.ledger)
        for index, area in enumerate(tables.reserved):
            spot = Spot(source, source.entry(("reserved",), index))
            self.spots[id(area)] = spot
            entry_rules.judge_stretch(source, spot.path, area, self.ledger)
            judge_span(spot, "at", area.at, area.length, memory, self.ledger)
        for index, block in enumerate(tables.mirrored):
            spot = Spot(source, source.entry(("mirrored",), index))
            entry_rules.judge_stretch(source, spot.path, block, self.ledger)
            judge_span(spot, "at", block.at, block.length, memory, self.ledger)
            judge_span(spot, "mirror-at", block.mirror_at, block.length, memory, self.ledger)
            if abs(block.at - block.mirror_at) < block.length:
                self.ledger.note(
                    faults.OVERLAP,
                    source,
                    (*spot.path, "mirror-at"),
                    other="its duplicate",
                    expected=f"at least {block.length} bytes between the two",
                    found=describe(abs(block.at - block.mirror_at)),
                )

    def _judge_slots(self) -> None:
        written = self._slots()
        if written is None:
            self.ledger.note(
                faults.TOO_MANY_FIELDS,
                self.files[0].source,
                ("group",),
                expected=f"at most {MOST_FIELDS}",
            )
            return
        sound = [slot for slot in written if self._is_sound(slot)]
        judge_overlaps(sound, self.spots, self.ledger, rows=not self.stepless)
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
        spot = self.spots[id(field)]
        names = [field.name for field in by_name.values()]
        self.ledger.note(
            faults.LIMIT_FIELD,
            spot.source,
            (*spot.path, key),
            expected="the name of a field that holds a number",
            found=describe(name),
            advice=advice(name, list(dict.fromkeys(names))),
        )
