"""The fields of one layout followed from image to image: only what changed is read again."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.compare.fields import (
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

    from parambak.compare.bytes import Run
    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Layout
    from parambak.layouts.plan import FieldPlan
    from parambak.layouts.verdicts import CheckResult
    from parambak.memory.image import Image

MANY = 4  # more than one field in so many touched: all are read again at once


class Seen(NamedTuple):
    """One change, with the stored bytes of both sides and what the checks over it did."""

    change: FieldChange
    old: bytes | None
    new: bytes | None
    guarded: bool
    renewed: tuple[str, ...]
    is_check: bool


class Sighted(NamedTuple):
    """The changes from one image to the next, and the checks that hold no more."""

    changes: tuple[Seen, ...]
    broken: tuple[str, ...]


class _Guard(NamedTuple):
    """What stands over stretches of bytes: a check, or a block's second keeping."""

    name: str
    over: tuple[tuple[int, int], ...]
    number: int


class Following:
    """The values of a layout's fields at the image looked at last."""

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
        """Take in the first image."""
        decoded = decode(self._layout, image)
        self._now = {field.field: field for field in decoded.fields}
        self.first = dict(self._now)
        self._checks = decoded.checks

    def step(
        self, image: Image, found: Sequence[Run], straight: tuple[Image, Image] | None = None
    ) -> Sighted:
        """Take in the next image, which differs in `found`, and return what changed.

        Where content was moved, `straight` are both images with it where it belongs: what
        is the same in those was moved and no more.
        """
        values, checks = self._read(image, found if straight is None else None)
        pairs = list(zip(self._checks, checks, strict=True))
        broken = tuple(new.check for old, new in pairs if old.holds and new.holds is False)
        if straight is None:
            self._renew(pairs)
            seen = [self._field(self._now[new.field], new) for new in values]
            seen += [_check(old, new) for old, new in pairs]
        else:
            seen = self._moved(straight, values, pairs)
        self._checks = checks
        self._now |= {new.field: new for new in values}
        told = (each for each in seen if each is not None)
        return Sighted(tuple(sorted(told, key=lambda each: each.change.at)), broken)

    def _moved(
        self,
        straight: tuple[Image, Image],
        values: Sequence[FieldValue],
        pairs: Sequence[tuple[CheckResult, CheckResult]],
    ) -> list[Seen | None]:
        """Return the changes beside a move, and as `moved` what the move alone changed."""
        old, new = (decode(self._layout, side) for side in straight)
        self._renew(list(zip(old.checks, new.checks, strict=True)))
        seen: list[Seen | None] = []
        for before, after, shown in zip(old.fields, new.fields, values, strict=True):
            one = self._field(before, after)
            was = self._now[shown.field]
            if one is None and was.own != shown.own:
                moved = change(was, shown)._replace(kind=MOVED)
                one = Seen(moved, was.own, shown.own, guarded=False, renewed=(), is_check=False)
            seen.append(one)
        straightened = zip(old.checks, new.checks, pairs, strict=True)
        for before_check, after_check, (shown_old, shown_new) in straightened:
            seen_check = _check(before_check, after_check)
            visible = _check(shown_old, shown_new)
            if seen_check is None and visible is not None:
                seen_check = visible._replace(change=visible.change._replace(kind=MOVED))
            seen.append(seen_check)
        return seen

    def _renew(self, pairs: Sequence[tuple[CheckResult, CheckResult]]) -> None:
        """Note which checks were renewed, and which second keepings were changed alike."""
        self._renewed = frozenset(
            number
            for number, (old, new) in enumerate(pairs)
            if (check_text(old) != check_text(new) and follows(old, new))
            or (new.method == "kept-twice" and new.holds)
        )

    def guards(self, start: int, end: int) -> tuple[bool, tuple[str, ...]]:
        """Return whether a check stands over a stretch, and those that the last step renewed.

        A second keeping is renewed where it was changed in the same way.
        """
        over = self._guards_over(start, end)
        return bool(over), tuple(each.name for each in over if each.number in self._renewed)

    def _read(
        self, image: Image, found: Sequence[Run] | None
    ) -> tuple[Sequence[FieldValue], tuple[CheckResult, ...]]:
        """Return the fields that a run touches (None: all), and all checks, as they are now."""
        if found is None or len(found) * MANY > len(self._plans):
            decoded = decode(self._layout, image)
            return decoded.fields, decoded.checks
        names = (
            place.name
            for run in found
            for place in coverage.places_over(self._layout, run.start, run.length)
        )
        plans = (self._plans.get(name) for name in dict.fromkeys(names))
        values = [field_value(self._layout, plan, image) for plan in plans if plan is not None]
        return values, check_results(self._layout, image.read)

    def _field(self, old: FieldValue, new: FieldValue) -> Seen | None:
        """Return the change of one field, None where its own bits are what they were.

        A tolerance counts from the value that was told last.
        """
        if old.own == new.own:
            return None
        one = change(old, new)
        if new.plan.field.tolerance is not None:
            anchor = self._anchors.setdefault(new.field, old)
            kind = change(anchor, new).kind
            if one.crossed is not None or kind != TOLERANCE:
                self._anchors[new.field] = new
            if one.crossed is None:
                one = one._replace(kind=kind)
        over, renewed = self.guards(new.at, new.at + new.length)
        return Seen(one, old.own, new.own, guarded=over, renewed=renewed, is_check=False)

    def _guards_over(self, start: int, end: int) -> tuple[_Guard, ...]:
        known = self._over.get((start, end))
        if known is None:
            known = tuple(
                guard
                for guard in self._guards
                if any(first < end and start < last for first, last in guard.over)
            )
            self._over[start, end] = known
        return known


def _check(old: CheckResult, new: CheckResult) -> Seen | None:
    if check_text(old) == check_text(new):
        return None
    one = check_change(old, new)
    return Seen(one, None, None, guarded=False, renewed=(), is_check=True)


def _guards(layout: Layout) -> Iterator[_Guard]:
    """Yield what stands over bytes, each with its number among the results of the checks."""
    for number, check in enumerate(layout.checks):
        over = tuple((first, last + 1) for first, last in check.over)
        yield _Guard(check.name, over, number)
    copied = sum(1 for _ in _copied(layout))
    for number, block in enumerate(layout.kept_twice, start=len(layout.checks) + copied):
        spans = (block.at, block.duplicate_at)
        over = tuple((at, at + block.length) for at in spans)
        yield _Guard(block.name, over, number)


def _copied(layout: Layout) -> Iterator[int]:
    """Yield the entries that are kept at several addresses, each once."""
    yield from {id(plan.field) for plan in plan_of(layout).fields if plan.field.also_at}
