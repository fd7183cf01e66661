"""The answer of `diff` and `swap read-back` where two layouts are given: values, no bytes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from parambak.compare.two_layouts import ONLY_NEW
from parambak.memory.counted import counted
from parambak.vault.files.given import read_given

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.compare.two_layouts import CarryOver, NotCarried, Renames, ValueChange
    from parambak.keeping.recording.received import RenamesFile

MOST_RENAMES = 256 * 1024
WORD_NEEDED = (
    "A name that matches does not prove a meaning that matches. Get the maker's word on what "
    "changed between the two software versions, and put it on record as a remark."
)


def renames_file(path: str | None) -> RenamesFile | None:
    """Return a table of renames and its bytes; None where none is named."""
    from parambak.compare.two_layouts import read_renames  # noqa: PLC0415 - for two layouts only
    from parambak.errors import LayoutRefused  # noqa: PLC0415 - the same
    from parambak.keeping.recording.received import RenamesFile  # noqa: PLC0415 - the same

    if path is None:
        return None
    data = read_given(path, MOST_RENAMES).data
    try:
        return RenamesFile(Path(path).name, data, read_renames(data))
    except LayoutRefused as error:
        raise error.in_file(path) from error


def table_of(file: RenamesFile | None) -> Renames:
    """Return the table that a file of renames holds; an empty one where there is none."""
    from parambak.compare.two_layouts import NONE  # noqa: PLC0415 - for two layouts only

    return NONE if file is None else file.renames


def document(found: CarryOver) -> dict[str, Any]:
    """Return what became of the values, under keys of the contract."""
    return {
        "bytes_compared": False,
        "same_values": found.same,
        "fields": [change_document(each) for each in found.changed],
        "not_carried": [_lost_document(each) for each in found.not_carried],
    }


def change_document(change: ValueChange) -> dict[str, Any]:
    """Return a value that changed under the keys of a field of `diff`."""
    return {
        "field": change.field,
        "old_field": change.old_field,
        "kind": change.kind,
        "old": change.old,
        "new": change.new,
        "unit": change.unit,
        "expected": change.expected,
    }


def _lost_document(lost: NotCarried) -> dict[str, Any]:
    return {
        "field": lost.field,
        "old_field": lost.old_field,
        "old": lost.old,
        "new": lost.new,
        "old_unit": lost.old_unit,
        "new_unit": lost.new_unit,
        "why": lost.why,
        "excused": lost.excused,
    }


def tables(screen: Screen, found: CarryOver, coverage: Sequence[tuple[str, int, int]]) -> None:
    """Print what changed and what was not carried over; `coverage`: a side, covered, size."""
    screen.say("Two layouts are given: values were compared, and NO BYTES.")
    screen.say(f"{counted(found.same, 'value')} the same in both.", indent=2)
    for side, covered, size in coverage:
        if covered < size:
            screen.say(
                f"{size - covered} of {size} bytes of the {side} memory have no field: "
                "nothing is said of them.",
                indent=2,
            )
    if found.changed:
        screen.say()
        screen.table(
            ("address", "field", "old", "new", "kind"),
            [_change_row(each) for each in found.changed],
        )
    for title, chosen in (
        ("Values that could not be carried over:", [e for e in found.not_carried if e.old_field]),
        ("Fields of the new layout alone:", [e for e in found.not_carried if e.why == ONLY_NEW]),
    ):
        if chosen:
            screen.say()
            screen.say(title)
            screen.table(("field", "old", "new", "why"), [_lost_row(each) for each in chosen])
    screen.say()


def _change_row(change: ValueChange) -> tuple[str, ...]:
    unit = f" {change.unit}" if change.unit else ""
    kind = change.kind
    if change.within_limits is False:
        kind += ", OUTSIDE LIMITS"
    if change.belongs_to_card:
        kind += ", of the card"
    name = _names(change.old_field, change.field)
    return (f"0x{change.at:04X}", name, change.old + unit, change.new + unit, kind)


def _lost_row(lost: NotCarried) -> tuple[str, ...]:
    why = f"{lost.why} (excused)" if lost.excused else lost.why
    return (
        _names(lost.old_field, lost.field),
        _with_unit(lost.old, lost.old_unit),
        _with_unit(lost.new, lost.new_unit),
        why,
    )


def _with_unit(value: str | None, unit: str | None) -> str:
    if value is None:
        return "-"
    return f"{value} {unit}" if unit else value


def _names(old: str | None, new: str | None) -> str:
    """Return the name, or both where the table of renames gave another one."""
    if old is None or new is None or old == new:
        return new or old or ""
    return f"{old}, now {new}"
