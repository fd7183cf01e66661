"""Values compared by two layouts, as tables: of `diff` and `swap read-back`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.differences.two_layouts import ONLY_NEW
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.differences import NotCarriedShown, ValueChangeShown, ValuesCompared
    from parambak.cli.screen import Screen

WORD_NEEDED = (
    "The same name does not prove the same meaning. Ask the maker what changed between the two "
    "software versions, and record the answer as a remark."
)


def tables(screen: Screen, values: ValuesCompared) -> None:
    """Print what changed and what was not carried over."""
    screen.say("Two layouts are given: values were compared, and NOT BYTES.")
    screen.say(f"{counted(values.same_values, 'value')} the same in both.", indent=2)
    for part in values.coverage:
        if part.covered_bytes < part.size:
            screen.say(
                f"{part.size - part.covered_bytes} of {part.size} bytes of the {part.side} memory "
                "have no field and were not compared.",
                indent=2,
            )
    if values.fields:
        screen.say()
        screen.table(
            ("address", "field", "old", "new", "kind"),
            [_change_row(change) for change in values.fields],
        )
    for title, lost_values in (
        (
            "Values that could not be carried over:",
            [lost for lost in values.not_carried if lost.old_field],
        ),
        (
            "Fields in the new layout only:",
            [lost for lost in values.not_carried if lost.why == ONLY_NEW],
        ),
    ):
        if lost_values:
            screen.say()
            screen.say(title)
            screen.table(("field", "old", "new", "why"), [_lost_row(lost) for lost in lost_values])
    screen.say()


def _change_row(change: ValueChangeShown) -> tuple[str, ...]:
    unit = f" {change.unit}" if change.unit else ""
    kind = change.kind
    if change.within_limits is False:
        kind += ", OUTSIDE LIMITS"
    if change.belongs_to_card:
        kind += ", of the card"
    name = _names(change.old_field, change.field)
    return (f"0x{change.at:04X}", name, change.old + unit, change.new + unit, kind)


def _lost_row(lost: NotCarriedShown) -> tuple[str, ...]:
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
    """Return the name, or both if the table of renames gave another one."""
    if old is None or new is None or old == new:
        return new or old or ""
    return f"{old}, now {new}"
