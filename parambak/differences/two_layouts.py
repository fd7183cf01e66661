"""Two images of two layouts: what became of the values from one software to the next.

Bytes are not compared: addresses and types may be different. Fields are matched by name and by
the user's table of renames; values are compared as exact values in their unit. Two fields with
the same name may have different meanings: only the maker can confirm.

The table of renames is TOML, old name = new name. A name is that of one field with its rows
(`"channel[3].limit" = "input[3].high"`); or without row numbers, for every row
(`channel.limit = "input.high"`); or that of a group, for all that is in it
(`channel = "input"`). `false` in place of a new name leaves the field out on purpose.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.fields import PARAMETER, RUNNING, value_text
from parambak.errors import Fault, LayoutRefused
from parambak.layouts.mistakes import advice, describe
from parambak.layouts.parse import parse

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from parambak.layouts.decode import Decoded, FieldValue
    from parambak.layouts.mistakes import Source
    from parambak.layouts.plan import FieldPlan

RENAMES_SHAPE = Fault(
    "renames-shape",
    LayoutRefused,
    "`{key}` is not a valid rename",
    'Write `old_name = "new_name"`, or `old_name = false` for a field that is left out on purpose.',
)
RENAMES_UNKNOWN = Fault(
    "renames-unknown",
    LayoutRefused,
    "the {side} layout has no field `{key}`",
    "{advice}",
)
RENAMES_TWICE = Fault(
    "renames-twice",
    LayoutRefused,
    "two fields of the old layout have the same new name `{key}`",
    "Give one of them another new name. To leave a field out on purpose, write `old_name = false`.",
)

ONLY_OLD = "the new layout has no such field"
ONLY_NEW = "the old layout has no such field"
LEFT_OUT = "left out by the table of renames"


class ValueChange(NamedTuple):
    """A value that changed. `field` is the new layout's name for it."""

    field: str
    old_field: str
    kind: str
    at: int
    old: str
    new: str
    unit: str | None
    within_limits: bool | None
    belongs_to_card: bool

    @property
    def running(self) -> bool:
        """Return whether the layout marks the field as running or volatile."""
        return self.kind != PARAMETER


class NotCarried(NamedTuple):
    """A value that could not be carried over, or not be compared, and why.

    A name or value is None on the side that has no such field. `excused` is what the table
    of renames leaves out on purpose.
    """

    field: str | None
    old_field: str | None
    old: str | None
    new: str | None
    old_unit: str | None
    new_unit: str | None
    why: str
    excused: bool = False


class CarryOver(NamedTuple):
    """What became of the values: how many are the same, which changed, which were not carried."""

    same: int
    changed: tuple[ValueChange, ...]
    not_carried: tuple[NotCarried, ...]


def carry_over(old: Decoded, new: Decoded, renames: Renames) -> CarryOver:
    """Compare the values of two images, each decoded by its own layout.

    Changes are in the order of the new layout, values not carried in that of the old one
    and then of the new. Raise LayoutRefused if the table of renames does not fit.
    """
    new_fields = {field.field: field for field in new.fields}
    pairs = renames.paired((field.field for field in old.fields), new_fields)
    same = 0
    changed: list[ValueChange] = []
    lost: list[NotCarried] = []
    for before in old.fields:
        name = pairs.get(before.field)
        if name is None:
            excused = before.field in pairs
            lost.append(_lost(before, None, LEFT_OUT if excused else ONLY_OLD, excused=excused))
            continue
        after = new_fields[name]
        why = _why_not(before, after)
        if why is not None:
            lost.append(_lost(before, after, why))
        elif _agree(before, after):
            same += 1
        else:
            changed.append(_change(before, after))
    matched = set(pairs.values())
    lost += [_lost(None, field, ONLY_NEW) for field in new.fields if field.field not in matched]
    return CarryOver(same, tuple(sorted(changed, key=lambda change: change.at)), tuple(lost))


def _lost(
    old: FieldValue | None, new: FieldValue | None, why: str, *, excused: bool = False
) -> NotCarried:
    return NotCarried(
        new.field if new else None,
        old.field if old else None,
        value_text(old) if old else None,
        value_text(new) if new else None,
        old.unit if old else None,
        new.unit if new else None,
        why,
        excused,
    )


def _change(old: FieldValue, new: FieldValue) -> ValueChange:
    expected = new.running or new.volatile or old.running or old.volatile
    return ValueChange(
        new.field,
        old.field,
        RUNNING if expected else PARAMETER,
        new.at,
        value_text(old),
        value_text(new),
        new.unit,
        new.within_limits,
        belongs_to_card=new.belongs_to_card or old.belongs_to_card,
    )


def _family(plan: FieldPlan) -> str:
    """Return the kind of value that a field has: "number", "name", or the family of texts."""
    kind = plan.field.type.kind
    return "name" if kind == "number" and plan.reader.value_names is not None else kind


def _why_not(old: FieldValue, new: FieldValue) -> str | None:
    """Return why the new field cannot hold the old value, None if it can."""
    if new.mark == "absent":
        return "the new image does not have its bytes"
    if old.mark == "blank":
        return None
    if old.value is None:
        return f"the old value cannot be read: {old.mark or 'no value'}"
    kinds = (_family(old.plan), _family(new.plan))
    if kinds[0] != kinds[1]:
        return f"another kind of value: {kinds[0]} became {kinds[1]}"
    if old.unit != new.unit:
        return f"another unit: {old.unit or 'none'} became {new.unit or 'none'}"
    return _why_no_number(old, new) if kinds[0] == "number" else _why_no_text(old.value, new)


def _why_no_text(value: str, new: FieldValue) -> str | None:
    names = new.plan.reader.value_names
    if names is not None:
        return None if value in names.values() else "the new layout has no such name"
    fits = new.plan.reader.codec.write(value) is not None
    return None if fits else f"type {new.plan.field.type} of {new.length} bytes cannot hold it"


def _why_no_number(old: FieldValue, new: FieldValue) -> str | None:
    number = _right_number(old, new)
    if number is None:
        return f"type {new.plan.field.type} cannot hold it at its scale"
    low, high = (
        fixed if fixed is not None or text is None else Fraction(text)
        for fixed, text in zip((new.plan.reader.low, new.plan.reader.high), new.limits, strict=True)
    )
    if (low is None or low <= number) and (high is None or number <= high):
        return None
    return f"outside the new limits, {new.low or '…'} to {new.high or '…'}"


def _agree(old: FieldValue, new: FieldValue) -> bool:
    """Return whether two values are the same."""
    if old.mark == "blank" or new.mark == "blank":
        return old.mark == new.mark
    if _family(new.plan) != "number":
        return old.value == new.value
    return new.raw is not None and _right_number(old, new) == new.plan.reader.number(new.raw)


def _right_number(old: FieldValue, new: FieldValue) -> Fraction | None:
    """Return the value that the new field should hold, None if it cannot hold it.

    Exactly the old value; the nearest if the new field is a float. If the old field is a
    float, the step of the new field that the old field stores in the same bytes:
    an old 0.1 of four bytes, 0.100000001490116119384765625, is 0.1 at a scale of 0.1.
    """
    number = None if old.raw is None else old.plan.reader.number(old.raw)
    if number is None:
        return None
    stored = _stored(new.plan, number)
    if stored is not None:
        return new.plan.reader.number(stored)
    if not _is_float(old.plan):
        return None
    raw = number if new.plan.reader.scaling is None else new.plan.reader.scaling.raw(number)
    nearest = None if raw is None else new.plan.reader.codec.write(round(raw))
    value = None if nearest is None else new.plan.reader.number(nearest)
    return value if value is not None and _stored(old.plan, value) == old.own else None


def _stored(plan: FieldPlan, number: Fraction) -> bytes | None:
    """Return the bytes of a value: exactly, or the nearest of a float."""
    raw = number if plan.reader.scaling is None else plan.reader.scaling.raw(number)
    if raw is None or (raw.denominator != 1 and not _is_float(plan)):
        return None
    return plan.reader.codec.write(int(raw) if raw.denominator == 1 else raw)


def _is_float(plan: FieldPlan) -> bool:
    return plan.field.type.is_float


Path = tuple[str, ...]
_ROW = re.compile(r"\[(\d+)\]")


class Renames:
    """New names by old ones; None for a field that is left out on purpose."""

    def __init__(self, table: Mapping[str, str | None], lines: Mapping[str, int]) -> None:
        self._table = table
        self._lines = lines

    def new_name(self, name: str) -> str | None:
        """Return the name in the new layout of the old one's `name`; None if it is left out."""
        key = self._key(name)
        if key is None:
            return name
        new = self._table[key]
        if new is None or key == name:
            return new
        rows = _ROW.findall(name)
        parts = new.split(".") + _ROW.sub("", name).split(".")[len(key.split(".")) :]
        numbered = [f"{part}[{row}]" for part, row in zip(parts[:-1], rows, strict=False)]
        return ".".join([*numbered, *parts[len(numbered) :]])

    def _key(self, name: str) -> str | None:
        """Return the entry for `name`: its own, that of all rows, of its groups."""
        if name in self._table:
            return name
        parts = _ROW.sub("", name).split(".")
        keys = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
        return next((key for key in keys if key in self._table), None)

    def paired(self, old: Iterable[str], new: Iterable[str]) -> dict[str, str | None]:
        """Return the new name of each old one that has one, None if it is left out.

        Raise LayoutRefused for an entry that names no field, and for two old fields with one
        new name.
        """
        old_names, new_names = tuple(old), frozenset(new)
        used: set[str | None] = set()
        pairs: dict[str, str | None] = {}
        taken: set[str] = set()
        for name in old_names:
            key = self._key(name)
            new_name = self.new_name(name)
            if key is not None and new_name is not None and new_name not in new_names:
                raise self._unknown("new", new_name, sorted(new_names), key)
            if new_name in taken:
                raise RENAMES_TWICE.error(
                    line=self._lines.get(key or ""),
                    expected="one old field for each new field",
                    found=name,
                    key=new_name,
                )
            used.add(key)
            if new_name is None or new_name in new_names:
                pairs[name] = new_name
                taken |= {new_name} if new_name is not None else set()
        for key in self._table:
            if key not in used:
                raise self._unknown("old", key, old_names, key)
        return pairs

    def _unknown(self, side: str, name: str, names: Iterable[str], key: str) -> Exception:
        return RENAMES_UNKNOWN.error(
            line=self._lines.get(key),
            expected=f"a field of the {side} layout",
            found=describe(name),
            side=side,
            key=describe(name).strip('"'),
            advice=advice(name, tuple(names)),
        )


NONE = Renames({}, {})


def read_renames(data: bytes) -> Renames:
    """Return the table that a TOML text holds; raise LayoutRefused if it is not one."""
    source = parse(data, None)
    table, lines = {}, {}
    for path, value in _leaves(source):
        key = ".".join(path)
        if value is not False and not isinstance(value, str):
            raise RENAMES_SHAPE.error(
                line=source.line(path),
                expected="text, or false",
                found=describe(value),
                key=describe(key).strip('"'),
            )
        table[key] = value or None
        lines[key] = source.line(path)
    return Renames(table, lines)


def _leaves(source: Source) -> Iterator[tuple[Path, object]]:
    """Yield every key that holds no table, its path from the top."""
    waiting: list[tuple[Path, object]] = [((), source.tree)]
    while waiting:
        path, node = waiting.pop()
        if isinstance(node, dict):
            waiting += [((*path, key), value) for key, value in node.items()]
        else:
            yield path, node
