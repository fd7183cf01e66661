"""The fields of one layout followed from image to image: only what changed is read again."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.fields import (
    MOVED,
    TOLERANCE,
    FieldChange,
    change,
    check_change,
    check_text,
    follows,
)
from parambak.layouts import coverage
from parambak.layouts.decode import decode, field_value
from parambak.layouts.plan import plan_of
from parambak.layouts.verdicts import check_results

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.differences.bytes import Run
    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Layout
    from parambak.layouts.plan import FieldPlan
    from parambak.layouts.verdicts import CheckResult
    from parambak.memory.image import Image

MANY = 4  # if more than one field in so many is touched, all are read again at once


class TrackedChange(NamedTuple):
    """One change, with the stored bytes of both sides and the checks over it that were renewed."""

    change: FieldChange
    old: bytes | None
    new: bytes | None
    guarded: bool = False
    renewed: tuple[str, ...] = ()
    is_check: bool = False


class _Guard(NamedTuple):
    """What covers stretches of bytes: a check, or a mirrored block."""

    name: str
    over: tuple[tuple[int, int], ...]
    number: int


class FieldTracker:
    """The values of a layout's fields in the last image."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._plans: dict[str, FieldPlan] = {plan.name: plan for plan in plan_of(layout).fields}
        self.first: dict[str, FieldValue] = {}
        self._now: dict[str, FieldValue] = {}
        self._checks: tuple[CheckResult, ...] = ()
        self._anchors: dict[str, FieldValue] = {}
        self._guards = tuple(_guards(layout))
        self._over: dict[tuple[int, int], tuple[_Guard, ...]] = {}
        self._renewed: frozenset[int] = frozenset()

    def begin(self, image: Image) -> None:
        """Add the first image."""
        decoded = decode(self._layout, image)
        self._now = {field.field: field for field in decoded.fields}
        self.first = dict(self._now)
        self._checks = decoded.checks

    def step(
        self, image: Image, changed: Sequence[Run], straight: tuple[Image, Image] | None = None
    ) -> tuple[list[TrackedChange], tuple[str, ...]]:
        """Add the next image, which differs in `changed`.

        Return the changes in address order, and the names of the checks that do not hold now.

        If content was moved, `straight` are both images with the content put back: what is
        the same in those was only moved.
        """
        values, checks = self._read(image, changed if straight is None else None)
        pairs = list(zip(self._checks, checks, strict=True))
        broken = tuple(new.check for old, new in pairs if old.holds and new.holds is False)
        if straight is None:
            self._renew(pairs)
            changes = [self._field(self._now[new.field], new) for new in values]
            changes += [_check(old, new) for old, new in pairs]
        else:
            changes = self._moved(straight, values, pairs)
        self._checks = checks
        self._now |= {new.field: new for new in values}
        some = (tracked for tracked in changes if tracked is not None)
        return sorted(some, key=lambda tracked: tracked.change.at), broken

    def _moved(
        self,
        straight: tuple[Image, Image],
        values: Sequence[FieldValue],
        pairs: Sequence[tuple[CheckResult, CheckResult]],
    ) -> list[TrackedChange | None]:
        """Return the changes other than a move, and as `moved` what the move alone changed."""
        old, new = (decode(self._layout, side) for side in straight)
        self._renew(list(zip(old.checks, new.checks, strict=True)))
        changes: list[TrackedChange | None] = []
        for before, after, as_read in zip(old.fields, new.fields, values, strict=True):
            tracked = self._field(before, after)
            was = self._now[as_read.field]
            if tracked is None and was.own != as_read.own:
                tracked = TrackedChange(
                    change(was, as_read)._replace(kind=MOVED), was.own, as_read.own
                )
            changes.append(tracked)
        for before_check, after_check, as_read_pair in zip(
            old.checks, new.checks, pairs, strict=True
        ):
            tracked = _check(before_check, after_check)
            visible = _check(*as_read_pair)
            if tracked is None and visible is not None:
                tracked = visible._replace(change=visible.change._replace(kind=MOVED))
            changes.append(tracked)
        return changes

    def _renew(self, pairs: Sequence[tuple[CheckResult, CheckResult]]) -> None:
        """Note which checks were renewed, and which mirrored blocks changed in the same way."""
        self._renewed = frozenset(
            number
            for number, (old, new) in enumerate(pairs)
            if (check_text(old) != check_text(new) and follows(old, new))
            or (new.method == "mirrored" and new.holds)
        )

    def guards(self, start: int, end: int) -> tuple[bool, tuple[str, ...]]:
        """Return whether a check covers a stretch, and the checks that the last step renewed.

        A mirrored block is renewed if both sides changed in the same way.
        """
        over = self._guards_over(start, end)
        return bool(over), tuple(guard.name for guard in over if guard.number in self._renewed)

    def _read(
        self, image: Image, changed: Sequence[Run] | None
    ) -> tuple[Sequence[FieldValue], tuple[CheckResult, ...]]:
        """Return the fields that a run touches (None: all), and all checks, as they are now."""
        if changed is None or len(changed) * MANY > len(self._plans):
            decoded = decode(self._layout, image)
            return decoded.fields, decoded.checks
        names = (
            slot.name
            for run in changed
            for slot in coverage.slots_over(self._layout, run.start, run.length)
        )
        plans = (self._plans.get(name) for name in dict.fromkeys(names))
        values = [field_value(self._layout, plan, image) for plan in plans if plan is not None]
        return values, check_results(self._layout, image.read)

    def _field(self, old: FieldValue, new: FieldValue) -> TrackedChange | None:
        """Return the change of one field, None if its own bits did not change.

        A tolerance counts from the value of the last change beyond it.
        """
        if old.own == new.own:
            return None
        changed = change(old, new)
        if new.plan.field.tolerance is not None:
            anchor = self._anchors.setdefault(new.field, old)
            kind = change(anchor, new).kind
            if changed.crossed is not None or kind != TOLERANCE:
                self._anchors[new.field] = new
            if changed.crossed is None:
                changed = changed._replace(kind=kind)
        over, renewed = self.guards(new.at, new.at + new.length)
        return TrackedChange(changed, old.own, new.own, guarded=over, renewed=renewed)

    def _guards_over(self, start: int, end: int) -> tuple[_Guard, ...]:
        guards = self._over.get((start, end))
        if guards is None:
            guards = tuple(
                guard
                for guard in self._guards
                if any(first < end and start < last for first, last in guard.over)
            )
            self._over[start, end] = guards
        return guards


def _check(old: CheckResult, new: CheckResult) -> TrackedChange | None:
    if check_text(old) == check_text(new):
        return None
    return TrackedChange(check_change(old, new), None, None, is_check=True)


def _guards(layout: Layout) -> Iterator[_Guard]:
    """Yield what covers bytes, with its number among the results of the checks."""
    for number, check in enumerate(layout.checks):
        over = tuple((first, last + 1) for first, last in check.over)
        yield _Guard(check.name, over, number)
    copied = sum(1 for _ in _copied(layout))
    for number, block in enumerate(layout.mirrored, start=len(layout.checks) + copied):
        spans = (block.at, block.mirror_at)
        over = tuple((at, at + block.length) for at in spans)
        yield _Guard(block.name, over, number)


def _copied(layout: Layout) -> Iterator[int]:
    """Yield once each entry that is stored at several addresses."""
    yield from {id(plan.field) for plan in plan_of(layout).fields if plan.field.mirror_at}
