"""Decoded parameters as they are printed: single fields one by one, a group as a table."""

from __future__ import annotations

import re
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.fields import value_text

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from parambak.layouts.decode import CheckResult, Decoded, FieldValue

MOST_FIELDS = 5000  # of one memory on a page; further fields are counted
SAME_ROWS = 3  # from this many, rows in sequence with the same values are printed as one
MOST_COLUMNS = 6  # of one table, so that it fits the sheet
_INDEX = re.compile(r"\[(\d+)\]")


class Single(NamedTuple):
    """A field that is in no group."""

    at: str
    field: str
    value: str
    unit: str | None
    allowed: str
    outside: bool
    remarks: str


class Column(NamedTuple):
    """A field of a group; a limit may be named by the field that holds it."""

    field: str
    unit: str | None
    allowed: str
    remarks: str


class Cell(NamedTuple):
    """The value of a field in one row."""

    value: str
    outside: bool
    remarks: str


class Row(NamedTuple):
    """A row of a group: its number, its name, its first address, and its cells.

    For several rows with the same values: "9 to 64" and the first address of the first.
    """

    number: str
    name: str | None
    at: str
    cells: tuple[Cell, ...]


class Group(NamedTuple):
    """Some columns of a group; `size` are its rows, `named`: one or more have a name."""

    name: str
    columns: tuple[Column, ...]
    size: int
    rows: tuple[Row, ...]
    named: bool


class Parameters(NamedTuple):
    """A memory decoded by a layout, as it is printed."""

    outside: tuple[str, ...]
    singles: tuple[Single, ...]
    groups: tuple[Group, ...]
    checks: tuple[CheckResult, ...]
    more: int


def parameters(decoded: Decoded | None) -> Parameters | None:
    """Return what is printed of a decoded memory; None without a layout."""
    if decoded is None:
        return None
    fields = decoded.fields[:MOST_FIELDS]
    outside = tuple(
        f"{f.field} {f.value} {f.unit or ''}".strip() + f" (allowed {limits(f.low, f.high)})"
        for f in decoded.fields
        if f.within_limits is False
    )
    return Parameters(
        outside[:MOST_FIELDS],
        tuple(_single(f) for f in fields if not f.plan.slot.prefix),
        tuple(_groups(f for f in fields if f.plan.slot.prefix)),
        decoded.checks,
        len(decoded.fields) - len(fields),
    )


def limits(low: str | None, high: str | None) -> str:
    """Return a range in words; nothing without one."""
    if low is not None and high is not None:
        return f"{low} to {high}"
    if low is not None:
        return f"from {low}"
    return f"to {high}" if high is not None else ""


def _single(field: FieldValue) -> Single:
    return Single(
        f"0x{field.at:04X}",
        field.field,
        value_text(field),
        field.unit,
        limits(field.low, field.high),
        field.within_limits is False,
        ", ".join((*_marks(field), *_of_field(field))),
    )


def _marks(field: FieldValue) -> tuple[str, ...]:
    """Return what is unusual about this value."""
    return (field.mark,) if field.mark and field.value is not None else ()


def _of_field(field: FieldValue) -> tuple[str, ...]:
    """Return what the layout states of the field, for any value."""
    notes = (
        (field.running, "running"),
        (field.belongs_to_card, "belongs to the card"),
        (field.identifies_unit, "identifies the unit"),
    )
    return tuple(words for holds, words in notes if holds)


def _groups(fields: Iterable[FieldValue]) -> Iterable[Group]:
    """Yield each group's tables, followed by those of the groups within it."""
    by_group: dict[str, dict[str, list[FieldValue]]] = {}
    for field in fields:
        prefix = field.plan.slot.prefix
        name = _INDEX.sub("", prefix).rstrip(".")
        by_group.setdefault(name, {}).setdefault(prefix, []).append(field)
    for name, rows in by_group.items():
        columns: dict[str, list[FieldValue]] = {}
        for prefix, row in rows.items():
            for field in row:
                columns.setdefault(field.field.removeprefix(prefix), []).append(field)
        items = list(columns.items())
        for first in range(0, len(items), MOST_COLUMNS):
            yield _table(name, items[first : first + MOST_COLUMNS], rows)


def _table(
    name: str,
    columns: Sequence[tuple[str, list[FieldValue]]],
    rows: dict[str, list[FieldValue]],
) -> Group:
    heads = [
        Column(key, values[0].unit, _allowed(values[0]), ", ".join(_of_field(values[0])))
        for key, values in columns
    ]
    made = []
    for prefix, row in rows.items():
        of_row = {field.field.removeprefix(prefix): field for field in row}
        cells = tuple(_cell(of_row.get(key)) for key, _ in columns)
        number = ".".join(_INDEX.findall(prefix))
        made.append(Row(number, row[0].row, f"0x{min(f.at for f in row):04X}", cells))
    folded = tuple(_folded(made))
    return Group(name, tuple(heads), len(made), folded, any(row.name for row in made))


def _folded(rows: Iterable[Row]) -> Iterator[Row]:
    """Yield the rows, those in sequence with the same values as one."""
    for _, group in groupby(rows, key=lambda row: (row.cells, row.name)):
        same = list(group)
        if len(same) < SAME_ROWS:
            yield from same
        else:
            number = f"{same[0].number} to {same[-1].number}"
            yield same[0]._replace(number=number)


def _allowed(value: FieldValue) -> str:
    """Return the limits of a field in every row: a number, or the field that holds it."""
    field = value.plan.field
    return limits(field.low_from or value.low, field.high_from or value.high)


def _cell(value: FieldValue | None) -> Cell:
    if value is None:
        return Cell("", outside=False, remarks="")
    return Cell(value_text(value), value.within_limits is False, ", ".join(_marks(value)))
