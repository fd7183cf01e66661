"""Two images, field by field, and the changed bytes that no field explains.

The kinds of change here: `running` (a counter or clock of the layout), `tolerance` (a number
changed within the layout's tolerance), `check` (a stored check that follows from other
changes), `parameter` (any other change that the layout names). `history.py` gives the kinds
that need several reads: `moved`, `alternates`, `fading` and `unstable`.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.bytes import beyond_bits
from parambak.layouts import coverage
from parambak.layouts.check_methods import PROMISES
from parambak.layouts.decimals import rounded
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.differences.bytes import Run
    from parambak.layouts.decode import Decoded, FieldValue
    from parambak.layouts.model import Layout
    from parambak.layouts.verdicts import CheckResult

RUNNING = "running"
TOLERANCE = "tolerance"
CHECK = "check"
PARAMETER = "parameter"
MOVED = "moved"
ALTERNATES = "alternates"
FADING = "fading"
UNSTABLE = "unstable"
UNMAPPED = "unmapped"
SETTLED = frozenset({RUNNING, TOLERANCE, CHECK})
"""The kinds of change that need no explanation."""


class FieldChange(NamedTuple):
    """A field whose stored bytes differ. `old` and `new` are values, or why there is none.

    `by` is the difference of two numbers, with its sign and in their unit; `crossed` is the
    limit that lies between them ("above 60.0", "below 1.0", "back inside"), or that the new
    value is still beyond ("still above 60.0").
    """

    field: str
    kind: str
    at: int
    old: str
    new: str
    unit: str | None
    within_limits: bool | None
    belongs_to_card: bool
    by: str | None = None
    crossed: str | None = None
    length: int = 0

    @property
    def explained(self) -> bool:
        """Return whether the change needs no explanation."""
        return self.kind in SETTLED


def changes(old: Decoded, new: Decoded) -> tuple[FieldChange, ...]:
    """Return every field and check that differs, in address order.

    Both sides are decoded by one layout.
    """
    before = {field.field: field for field in old.fields}
    changed = [
        change(before[field.field], field)
        for field in new.fields
        if field.field in before and before[field.field].own != field.own
    ]
    checks = {check.check: check for check in old.checks}
    changed += [
        check_change(checks[check.check], check)
        for check in new.checks
        if check.check in checks and check_text(checks[check.check]) != check_text(check)
    ]
    return tuple(sorted(changed, key=lambda change: change.at))


def check_text(check: CheckResult) -> str:
    """Return what a check stores; of a promise that stores nothing, whether it is kept."""
    if check.method not in PROMISES:
        return check.stored or "absent"
    return check.mark or {True: "holds", False: "does not hold", None: "absent"}[check.holds]


def follows(old: CheckResult, new: CheckResult) -> bool:
    """Return whether a check that changed follows from a change of the bytes it is over.

    A stored value that became right without a change of its bytes was corrected by somebody.
    """
    moved = new.method in PROMISES or old.computed != new.computed
    return bool(new.holds) and moved


def check_change(old: CheckResult, new: CheckResult) -> FieldChange:
    """Return the change of a check."""
    return FieldChange(
        new.check,
        CHECK if follows(old, new) else PARAMETER,
        new.at,
        check_text(old),
        check_text(new),
        None,
        new.holds,
        belongs_to_card=False,
        length=len(new.stored) // 2 if new.stored else 1,
    )


def change(old: FieldValue, new: FieldValue) -> FieldChange:
    """Return the change of a field from one value to another."""
    before, after = number(old), number(new)
    by = after - before if before is not None and after is not None else None
    crossed = _crossed(old, new, after)
    return FieldChange(
        new.field,
        _kind(new, by, crossed),
        new.at,
        value_text(old),
        value_text(new),
        new.unit,
        new.within_limits,
        new.belongs_to_card,
        _signed(by, (old, new)) if by is not None else None,
        crossed,
        new.length,
    )


def number(field: FieldValue) -> Fraction | None:
    """Return the exact number that a field holds; None for a text, a name, a blank."""
    plan, raw = field.plan, field.own
    if (
        raw is None
        or field.mark == "blank"
        or plan.reader.is_text
        or plan.field.type.name == "flag"
    ):
        return None
    stored = plan.reader.codec.read(field.raw or b"").number
    if stored is None or (
        plan.reader.value_names is not None and stored in plan.reader.value_names
    ):
        return None
    return plan.reader.number(field.raw or b"")


def _kind(new: FieldValue, by: Fraction | None, crossed: str | None) -> str:
    if new.running or new.volatile:
        return RUNNING
    tolerance = new.plan.field.tolerance
    if tolerance is None or by is None or crossed is not None:
        return PARAMETER
    return TOLERANCE if abs(by) <= Fraction(tolerance) else PARAMETER


def _crossed(old: FieldValue, new: FieldValue, value: Fraction | None) -> str | None:
    """Return which limit the new value is beyond, or that it came back inside."""
    if new.within_limits is not False:
        return "back inside" if old.within_limits is False and new.within_limits else None
    still = "still " if old.within_limits is False else ""
    above = new.high is not None and (
        new.low is None or (value is not None and value > Fraction(new.high))
    )
    return f"{still}above {new.high}" if above else f"{still}below {new.low}"


def _signed(by: Fraction, sides: Sequence[FieldValue]) -> str:
    """Return a difference with its sign, to as many places as the values are shown with."""
    places = max(len((side.value or "").partition(".")[2]) for side in sides)
    text = rounded(abs(by), min(places, 30))
    return f"{'-' if by < 0 else '+'}{text}"


def value_text(field: FieldValue) -> str:
    """Return a field's value, or the mark that replaces it."""
    return field.value if field.value is not None else (field.mark or "unreadable")


def unmapped(layout: Layout, runs: Sequence[Run]) -> tuple[Range, ...]:
    """Return the changed stretches of which a bit is explained by no field or check.

    A reserved area explains a change only if it is running or volatile.
    """
    explained = coverage.explained_bits(layout)
    loose: list[Range] = []
    for run in runs:
        bits = explained[run.start : run.range.end].ljust(run.length, b"\0")
        loose += [Range(run.start + at, length) for at, length in beyond_bits(run, bits)]
    return coverage.joined(loose)
