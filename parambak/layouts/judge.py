"""The whole layout judged: every entry for itself, then all of them beside each other."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING

from parambak.layouts import expanded, faults, field_rules, placement
from parambak.layouts.check_methods import stored_length
from parambak.layouts.check_rules import judge_check
from parambak.layouts.mistakes import advice, describe
from parambak.layouts.model import MOST_FIELDS, Field
from parambak.layouts.placement import Spot
from parambak.layouts.words import TYPES

if TYPE_CHECKING:
    from parambak.layouts.expanded import Place
    from parambak.layouts.includes import Gathered, Part
    from parambak.layouts.mistakes import Ledger, Path, Source
    from parambak.layouts.model import Group

_WORDS = frozenset({"text", "date-time", "bytes"})


class Judge:
    """Notes in a ledger whatever makes no sense in the files gathered."""

    def __init__(self, gathered: Gathered, ledger: Ledger) -> None:
        self.files = gathered.files
        self.head = gathered.head
        self.ledger = ledger
        self.memory = self.head.memory or 0
        written = self.files[0].source.tree.get("layout")
        # A word that is no byte order is noted where it stands, not in every field too.
        self.ordered = isinstance(written, dict) and "byte-order" in written
        self.spots: dict[int, Spot] = {}
        self.taken: dict[str, str] = {}
        self.taken_checks: dict[str, str] = {}
        self.stepless = False

    def run(self) -> None:
        """Judge everything; what depends on a sound memory size waits for one."""
        self._judge_head()
        for part in self.files:
            field_rules.judge_texts(part.source, self.ledger)
            self._judge_entries(part)
            if self.memory:
                self._judge_stored(part)
        if self.memory and not self.ledger.full:
            self._judge_places()

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

    def _judge_entries(self, part: Part) -> None:
        source, tables = part.source, part.tables
        self._judge_fields(source, ("field",), tables.field, self.taken, (0, 0))
        for index, group in enumerate(tables.group):
            self._judge_group(source, source.entry(("group",), index), group, self.taken, (0, 0))
        for index, check in enumerate(tables.check):
            path = source.entry(("check",), index)
            field_rules.judge_taken(source, path, check.name, self.taken_checks, self.ledger)
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
            field_rules.judge_names(source, [(here, field.name)], taken, self.ledger)
            field_rules.judge_field(source, here, field, self.ledger)
            placement.judge_order(spot, field, self.ledger, known=self.ordered)
            if self.memory:
                placement.judge_field_room(spot, field, base, self.memory, self.ledger)

    def _judge_group(
        self, source: Source, path: Path, group: Group, taken: dict[str, str], base: tuple[int, int]
    ) -> None:
        field_rules.judge_names(source, [(path, group.name)], taken, self.ledger)
        field_rules.judge_group(source, path, group, self.ledger)
        self.stepless = self.stepless or (group.count > 1 and group.step is None)
        if group.at < 0:
            placement.judge_span(
                Spot(source, path), "at", group.at, 1, self.memory or 1, self.ledger
            )
            return
        rows = placement.last_row(group, base)
        scope: dict[str, str] = {}
        self._judge_fields(source, (*path, "field"), group.field, scope, rows)
        for index, inner in enumerate(group.group):
            where = source.entry((*path, "group"), index)
            self._judge_group(source, where, inner, scope, rows)

    def _judge_stored(self, part: Part) -> None:
        """Judge what stands at addresses of its own: checks, reserved areas, blocks."""
        source, tables, memory = part.source, part.tables, self.memory
        for index, check in enumerate(tables.check):
            spot = Spot(source, source.entry(("check",), index))
            judge_check(source, spot.path, check, memory, self.ledger)
            placement.judge_span(spot, "at", check.at, stored_length(check), memory, self.ledger)
        for index, area in enumerate(tables.reserved):
            spot = Spot(source, source.entry(("reserved",), index))
            self.spots[id(area)] = spot
            field_rules.judge_stretch(source, spot.path, area, self.ledger)
            placement.judge_span(spot, "at", area.at, area.length, memory, self.ledger)
        for index, block in enumerate(tables.kept_twice):
            spot = Spot(source, source.entry(("kept-twice",), index))
            field_rules.judge_stretch(source, spot.path, block, self.ledger)
            placement.judge_span(spot, "at", block.at, block.length, memory, self.ledger)
            placement.judge_span(
                spot, "duplicate-at", block.duplicate_at, block.length, memory, self.ledger
            )
            if abs(block.at - block.duplicate_at) < block.length:
                self.ledger.note(
                    faults.OVERLAP,
                    source,
                    (*spot.path, "duplicate-at"),
                    other="its own duplicate",
                    expected=f"at least {block.length} bytes between the two",
                    found=describe(abs(block.at - block.duplicate_at)),
                )

    def _judge_places(self) -> None:
        found = self._places()
        if found is None:
            self.ledger.note(
                faults.TOO_MANY_FIELDS,
                self.files[0].source,
                ("group",),
                expected=f"at most {MOST_FIELDS}",
            )
            return
        sound = [place for place in found if self._is_sound(place)]
        placement.judge_overlaps(sound, self.spots, self.ledger, rows=not self.stepless)
        self._judge_limit_names(found)

    def _places(self) -> list[Place] | None:
        """Return every place, None where there are too many to write out."""
        order = self.head.byte_order or "big"
        groups = [group for part in self.files for group in part.tables.group]
        if sum(map(expanded.count_places, groups)) > MOST_FIELDS:
            return None
        found: list[Place] = []
        for part in self.files:
            found.extend(expanded.of_fields(part.tables.field, order))
            for group in part.tables.group:
                found.extend(expanded.of_group(group, order))
            found.extend(expanded.of_check(check, order) for check in part.tables.check)
            found.extend(expanded.of_reserved(area, order) for area in part.tables.reserved)
        blocks = [block for part in self.files for block in part.tables.kept_twice]
        found.extend(list(islice(expanded.of_duplicates(found, blocks), MOST_FIELDS + 1)))
        return found if len(found) <= MOST_FIELDS else None

    def _is_sound(self, place: Place) -> bool:
        """Return whether the place can be compared with others: noted already where not."""
        if place.at < 0 or place.length < 1 or place.end > self.memory:
            return False
        if place.width is None:
            # Bits that do not say how many take no whole byte from their neighbours.
            return not (isinstance(place.entry, Field) and place.entry.type == "bits")
        bit = place.bit or 0
        return bit >= 0 and place.width >= 1 and bit + place.width <= 8 * place.length

    def _judge_limit_names(self, found: list[Place]) -> None:
        """Note limits taken from a field that is not there, or holds no number."""
        by_name: dict[str, Field] | None = None
        judged: set[int] = set()
        for place in found:
            field = place.entry
            if not isinstance(field, Field) or id(field) in judged:
                continue
            if field.low_from is None and field.high_from is None:
                continue
            judged.add(id(field))
            if by_name is None:
                by_name = {each.name: each.entry for each in found if isinstance(each.entry, Field)}
            for key, name in (("low-from", field.low_from), ("high-from", field.high_from)):
                if name is not None:
                    self._judge_limit_name(field, key, name, place.prefix, by_name)

    def _judge_limit_name(
        self, field: Field, key: str, name: str, prefix: str, by_name: dict[str, Field]
    ) -> None:
        other = expanded.seen_from(by_name, name, prefix)
        if other is not None and TYPES[other.type].family not in _WORDS:
            return
        spot = self.spots[id(field)]
        known = [each.name for each in by_name.values()]
        self.ledger.note(
            faults.LIMIT_FIELD,
            spot.source,
            (*spot.path, key),
            expected="the name of a field that holds a number",
            found=describe(name),
            advice=advice(name, list(dict.fromkeys(known))),
        )
