"""Two images, field by field, and the changed bytes that no field explains.

Changes are told apart: `expected` (a counter, a clock: declared so), `check`
(a stored check that follows from other changes), `parameter` (anything else
that the layout names).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.compare.bytes import beyond_bits
from parambak.layouts import coverage
from parambak.layouts.verdicts import PROMISES
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.compare.bytes import Run
    from parambak.layouts.decode import Decoded, FieldValue
    from parambak.layouts.model import Layout
    from parambak.layouts.verdicts import CheckResult

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
        if field.field in before and before[field.field].own != field.own
    ]
    checks = {check.check: check for check in old.checks}
    found += [
        _check_change(checks[check.check], check)
        for check in new.checks
        if check.check in checks and _told(checks[check.check]) != _told(check)
    ]
    return tuple(sorted(found, key=lambda change: change.at))


def _told(check: CheckResult) -> str:
    """Return what a check stores; of a promise that stores nothing, whether it is kept."""
    if check.method not in PROMISES:
        return check.stored or "absent"
    return check.mark or {True: "holds", False: "does not hold", None: "absent"}[check.holds]


def _check_change(old: CheckResult, new: CheckResult) -> FieldChange:
    return FieldChange(
        new.check,
        CHECK if new.holds else PARAMETER,
        new.at,
        _told(old),
        _told(new),
        None,
        new.holds,
        belongs_to_card=False,
    )


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
    """Return the changed stretches of which a bit is explained by no field or check.

    A reserved area explains a change only where it says that it changes.
    """
    explained = coverage.explained_bits(layout)
    loose: list[Range] = []
    for run in found:
        known = explained[run.start : run.range.end].ljust(run.length, b"\0")
        loose += [Range(run.start + at, length) for at, length in beyond_bits(run, known)]
    return coverage.joined(loose)
