"""The images of one memory in the order of their reads: what changed, when, and its kind.

Only two images are in memory at a time; of the others only the changes are kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.differences import fading
from parambak.differences.bytes import differing_bytes, runs
from parambak.differences.fields import (
    ALTERNATES,
    FADING,
    PARAMETER,
    TOLERANCE,
    UNMAPPED,
    UNSTABLE,
    FieldChange,
    unmapped,
)
from parambak.differences.moves import Move, moves_between, undo_moves

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from collections.abc import Set as AbstractSet

    from parambak.differences.bytes import Run
    from parambak.differences.tracker import FieldTracker, TrackedChange
    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range

ERASED = 0xFF
MOST_LOOSE = 64  # addresses outside any field, of one step, that are followed for fading
FAR_NEARER = 2  # an image is far nearer to one than to another: it differs in half as many bytes


class Loose(NamedTuple):
    """A changed stretch in no field; `kind` is `unmapped`, `fading` or `unstable`."""

    range: Range
    kind: str


class Step(NamedTuple):
    """What is new in one image against the one before it.

    `image` counts from 0, so that the first step is 1. `renewed` are for each field the
    checks over it that were renewed with the change and hold; `broken` are the checks that
    held before and do not hold now.
    """

    image: int
    changed_bytes: int
    moves: tuple[Move, ...]
    fields: tuple[FieldChange, ...]
    renewed: dict[str, tuple[str, ...]]
    loose: tuple[Loose, ...]
    broken: tuple[str, ...]


class History(NamedTuple):
    """All steps in which anything changed, and how many images there were.

    `first` are the fields of the first image by name, empty without a layout.
    """

    images: int
    first: dict[str, FieldValue]
    steps: tuple[Step, ...]


def history(
    layout: Layout | None,
    images: Iterable[Image],
    unstable: Callable[[int], bool] = lambda _: False,
) -> History:
    """Return what changed from each image to the next, by kind; oldest image first.

    `unstable` states of the number of an image whether it differs from the one before although
    nothing was written: reads of one occasion. Its changes make no value alternate or fade.
    """
    maker = _Maker(layout, unstable)
    count = 0
    for image in images:
        maker.take(image, count)
        count += 1
    first = maker.tracker.first if maker.tracker is not None else {}
    return History(count, first, maker.sorted_steps())


def changes_of(history: History, field: str) -> Iterator[tuple[int, FieldChange]]:
    """Yield the changes of one field or check, each with the image that first had it."""
    for step in history.steps:
        for change in step.fields:
            if change.field == field:
                yield step.image, change


class _Maker:
    """The steps up to the last image, and the changes of each value in their order."""

    def __init__(self, layout: Layout | None, unstable: Callable[[int], bool]) -> None:
        self._layout = layout
        self._unstable = unstable
        self.tracker = _tracker(layout) if layout is not None else None
        self._steps: list[Step] = []
        self._fields: dict[str, list[tuple[int, TrackedChange]]] = {}
        self._bytes: dict[int, list[fading.Turn]] = {}  # by address, in no field
        self._before: Image | None = None
        self._straight: Image | None = None  # the image before, with a move undone

    def take(self, image: Image, number: int) -> None:
        """Add the next image."""
        before, self._before = self._before, image
        if before is None:
            if self.tracker is not None:
                self.tracker.begin(image)
        elif image != before:
            changed = runs(before, image)
            moves, sides = self._sides(before, image, changed)
            self._steps.append(self._step((before, image), changed, moves, sides, number))

    def sorted_steps(self) -> tuple[Step, ...]:
        """Return the steps, each change with the kind that needs the complete history."""
        blank = self._layout.blank if self._layout is not None else ERASED
        turns: dict[str | int, list[fading.Turn]] = {
            name: [
                fading.Turn(
                    step,
                    tracked.old,
                    tracked.new,
                    guarded=tracked.guarded,
                    renewed=bool(tracked.renewed),
                )
                for step, tracked in changes
                if tracked.old is not None and tracked.new is not None
            ]
            for name, changes in self._fields.items()
        }
        turns.update(self._bytes.items())
        faded = {key: steps for key, some in turns.items() if (steps := fading.fading(some, blank))}
        alternating = {
            name for name, changes in self._fields.items() if fading.alternates(_values(changes))
        }
        return tuple(
            _as_unstable(step) if self._unstable(step.image) else _sorted(step, faded, alternating)
            for step in self._steps
        )

    def _sides(
        self, before: Image, image: Image, changed: tuple[Run, ...]
    ) -> tuple[tuple[Move, ...], tuple[Image, Image] | None]:
        """Return the moves, and both images with the content put back; None without a move.

        If the image before was moved itself, its content put back counts.
        """
        away, self._straight = self._straight, None
        if away is None:
            moves = moves_between(before, image, changed)
            if not moves:
                return (), None
            self._straight = undo_moves(before, image, moves)
            return moves, (before, self._straight)
        if _nearer(away, before, image):
            return moves_between(before, image, changed), (away, image)
        moves = moves_between(away, image, runs(away, image))
        if not moves:
            return moves_between(before, image, changed), None
        self._straight = undo_moves(away, image, moves)
        return moves_between(before, image, changed), (away, self._straight)

    def _step(
        self,
        images: tuple[Image, Image],
        changed: tuple[Run, ...],
        moves: tuple[Move, ...],
        sides: tuple[Image, Image] | None,
        number: int,
    ) -> Step:
        count = sum(run.length for run in changed)
        rest = runs(*sides) if sides is not None else changed
        if self.tracker is None or self._layout is None:
            loose = tuple(Loose(run.range, UNMAPPED) for run in rest)
            return Step(number, count, moves, (), {}, loose, ())
        changes, broken = self.tracker.step(images[1], changed, sides)
        for tracked in changes if not self._unstable(number) else ():
            if tracked.change.kind in {PARAMETER, TOLERANCE} and not tracked.is_check:
                self._fields.setdefault(tracked.change.field, []).append((number, tracked))
        ranges = unmapped(self._layout, rest)
        self._follow_loose(self.tracker, ranges, sides or images, number)
        return Step(
            number,
            count,
            moves,
            tuple(tracked.change for tracked in changes),
            {tracked.change.field: tracked.renewed for tracked in changes if tracked.renewed},
            tuple(Loose(stretch, UNMAPPED) for stretch in ranges),
            broken,
        )

    def _follow_loose(
        self,
        tracker: FieldTracker,
        ranges: Sequence[Range],
        sides: tuple[Image, Image],
        number: int,
    ) -> None:
        """Follow single bytes that no field explains, if they are few."""
        if self._unstable(number) or sum(stretch.length for stretch in ranges) > MOST_LOOSE:
            return
        for address in (a for stretch in ranges for a in range(stretch.start, stretch.end)):
            old, new = (side.read(address, 1) for side in sides)
            if old is not None and new is not None:
                guarded, renewed = tracker.guards(address, address + 1)
                turn = fading.Turn(number, old, new, guarded=guarded, renewed=bool(renewed))
                self._bytes.setdefault(address, []).append(turn)


def _nearer(away: Image, before: Image, image: Image) -> bool:
    """Return whether an image is far nearer to one than to the other."""
    return differing_bytes(away, image) * FAR_NEARER < differing_bytes(before, image)


def _tracker(layout: Layout) -> FieldTracker:
    from parambak.differences.tracker import FieldTracker  # noqa: PLC0415 - layouts only

    return FieldTracker(layout)


def _values(changes: Iterable[tuple[int, TrackedChange]]) -> list[bytes | None]:
    """Return the values that a field had, from each change beyond its tolerance to the next."""
    beyond = [tracked for _, tracked in changes if tracked.change.kind == PARAMETER]
    return [*(tracked.old for tracked in beyond[:1]), *(tracked.new for tracked in beyond)]


def _as_unstable(step: Step) -> Step:
    """Return a step between two reads of one occasion: what differs was not written."""
    fields = tuple(
        change._replace(kind=UNSTABLE) if change.kind in {PARAMETER, TOLERANCE} else change
        for change in step.fields
    )
    loose = tuple(stretch._replace(kind=UNSTABLE) for stretch in step.loose)
    return step._replace(fields=fields, loose=loose)


def _sorted(
    step: Step, faded: Mapping[str | int, AbstractSet[int]], alternating: AbstractSet[str]
) -> Step:
    """Return a step whose changes have the kind that needs the complete history."""

    def of_kind(change: FieldChange) -> FieldChange:
        if step.image in faded.get(change.field, ()) and change.kind in {PARAMETER, TOLERANCE}:
            return change._replace(kind=FADING)
        if change.field in alternating and change.kind == PARAMETER:
            return change._replace(kind=ALTERNATES)
        return change

    def loose_of_kind(loose: Loose) -> Loose:
        addresses = range(loose.range.start, loose.range.end)
        fades = all(step.image in faded.get(address, ()) for address in addresses)
        return loose._replace(kind=FADING) if fades else loose

    fields = tuple(of_kind(change) for change in step.fields)
    loose = tuple(loose_of_kind(stretch) for stretch in step.loose)
    return step._replace(fields=fields, loose=loose)
