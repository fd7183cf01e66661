"""Two images, field by field, and the changed bytes that no field explains.

Changes are told apart: `expected` (a counter, a clock: declared so), `check`
(a stored check that follows from other changes), `parameter` (anything else
that the layout names).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.compare.bytes import changed_bits
from parambak.layouts import coverage
from parambak.layouts.places import places
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.compare.bytes import Run
    from parambak.layouts.decode import Decoded, FieldValue
    from parambak.layouts.model import Layout

EXPECTED = "expected"
CHECK = "check"
PARAMETER = "parameter"


class FieldChange(NamedTuple):
    """A field whose stored bytes differ. `old` and `new` are values, or why there is none."""

    field: str
    kind: str
    at: int
    old: str
    new: str
    unit: str | None
    within_limits: bool | None
    belongs_to_card: bool

    @property
    def expected(self) -> bool:
        """Return whether the change needs no explanation of its own."""
        return self.kind != PARAMETER


def changes(old: Decoded, new: Decoded) -> tuple[FieldChange, ...]:
    """Return every field and check that differs, in address order.

    Both sides are decoded by one layout.
    """
    before = {field.field: field for field in old.fields}
    found = [
        _change(before[field.field], field)
        for field in new.fields
        if field.field in before and _differs(before[field.field], field)
    ]
    checks = {check.check: check for check in old.checks}
    for check in new.checks:
        stored = checks[check.check].stored
        if stored != check.stored:
            found.append(
                FieldChange(
                    check.check,
                    CHECK if check.holds else PARAMETER,
                    check.at,
                    stored or "absent",
                    check.stored or "absent",
                    None,
                    check.holds,
                    belongs_to_card=False,
                )
            )
    return tuple(sorted(found, key=lambda change: change.at))


def _differs(old: FieldValue, new: FieldValue) -> bool:
    if (old.value, old.mark) != (new.value, new.mark):
        return True
    # The raw bytes of flags and bits are shared with other fields.
    return new.width is None and old.raw != new.raw


def _change(old: FieldValue, new: FieldValue) -> FieldChange:
    kind = EXPECTED if new.expected_to_change or new.live else PARAMETER
    return FieldChange(
        new.field,
        kind,
        new.at,
        shown(old),
        shown(new),
        new.unit,
        new.within_limits,
        belongs_to_card=new.belongs_to_card,
    )


def shown(field: FieldValue) -> str:
    """Return a field's value, or what stands in its place."""
    return field.value if field.value is not None else (field.mark or "unreadable")


def unexplained(layout: Layout, found: Sequence[Run]) -> tuple[Range, ...]:
    """Return the changed stretches that no field, check or reserved area explains.

    A byte of which flags and bits take only a part is unexplained where another bit changed.
    """
    covered = coverage.covered(layout)
    partly = _partly_taken(layout)
    loose: list[Range] = []
    for run in found:
        loose += _outside(run.range, covered)
        if partly:
            taken = [(at, bits) for at, bits in changed_bits(run) if at in partly]
            loose += [Range(at, 1) for at, bits in taken if bits & ~partly[at]]
    return coverage.joined(loose)


def _partly_taken(layout: Layout) -> dict[int, int]:
    """Return the bytes of which only some bits stand for something: address to those bits."""
    every = places(layout)
    taken: dict[int, int] = {}
    for place in every:
        if place.width is not None:
            for address, bits in coverage.masks_of(place).items():
                taken[address] = taken.get(address, 0) | bits
    return {
        address: bits
        for address, bits in taken.items()
        if bits != 0xFF
        and all(place.width is not None for place in coverage.places_over(layout, address, 1))
    }


def _outside(stretch: Range, covered: Sequence[Range]) -> list[Range]:
    """Return the parts of a stretch that lie in none of the ranges, which are in order."""
    parts = []
    at = stretch.start
    for each in covered:
        if each.end <= at or each.start >= stretch.end:
            continue
        if each.start > at:
            parts.append(Range(at, each.start - at))
        at = max(at, each.end)
    if at < stretch.end:
        parts.append(Range(at, stretch.end - at))
    return parts
