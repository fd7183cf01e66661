"""The images of one memory in the order they were read: what changed, when, and of what sort.

Only the image before is held beside the one at hand, and of the rest no more than what
changed, packed: five hundred copies take little more memory than two.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import msgspec

from parambak.compare.bytes import differing_bytes, runs
from parambak.compare.fading import Turn
from parambak.compare.fields import (
    FADING,
    FLIPS,
    PARAMETER,
    TOLERANCE,
    UNEXPLAINED,
    FieldChange,
    unexplained,
)
from parambak.compare.moves import Move, moves_between, undo_moves
from parambak.compare.tracker import Following, Seen
from parambak.compare.tracks import Change, Tracks
from parambak.memory.image import Range  # noqa: TC001 - msgspec unpacks steps by it

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from parambak.compare.bytes import Run
    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image

ERASED = 0xFF
MOST_LOOSE = 64  # addresses outside any field, of one step, that are followed for fading


class Loose(NamedTuple):
    """A changed stretch in no field; `kind` is `unexplained`, or `fading`."""

    range: Range
    kind: str


class Step(NamedTuple):
    """What is new in one image against the one before it.

    `image` counts from 0, so that the first step is 1. `renewed` are for each field the
    checks over it that were renewed with the change and hold; `broken` are the checks that
    held before and hold no more.
    """

    image: int
    changed_bytes: int
    moved: tuple[Move, ...]
    fields: tuple[FieldChange, ...]
    renewed: dict[str, tuple[str, ...]]
    loose: tuple[Loose, ...]
    broken: tuple[str, ...]


class Steps:
    """Steps in order, each unpacked where it is asked for, and let go again."""

    def __init__(self, packed: Sequence[bytes], told: Callable[[Step], Step]) -> None:
        self._packed = packed
        self._told = told

    def __len__(self) -> int:
        return len(self._packed)

    def __getitem__(self, number: int) -> Step:
        return self._told(_UNPACKING.decode(self._packed[number]))

    def __iter__(self) -> Iterator[Step]:
        return (self[number] for number in range(len(self)))


_PACKING = msgspec.msgpack.Encoder()
_UNPACKING = msgspec.msgpack.Decoder(Step)


class History(NamedTuple):
    """All steps in which anything changed, and how many images there were.

    `first` are the fields of the first image by name, empty without a layout.
    """

    images: int
    first: dict[str, FieldValue]
    steps: Steps


def history(layout: Layout | None, images: Iterable[Image]) -> History:
    """Return what changed from each image to the next, by sort; oldest image first."""
    looking = _Looking(layout)
    count = 0
    for image in images:
        looking.take(image, count)
        count += 1
    faded = looking.tracks.faded(layout.blank if layout is not None else ERASED)
    told = partial(_told, faded=faded, flipping=looking.tracks.flipping())
    first = looking.following.first if looking.following is not None else {}
    return History(count, first, Steps(looking.packed, told))


class _Looking:
    """What has been seen up to the image looked at last."""

    def __init__(self, layout: Layout | None) -> None:
        self._layout = layout
        self.following = Following(layout) if layout is not None else None
        self.tracks = Tracks()
        self.packed: list[bytes] = []  # the steps
        self._before: Image | None = None
        self._straight: Image | None = None  # the image before, with a move undone

    def take(self, image: Image, at: int) -> None:
        """Take in the next image."""
        before, self._before = self._before, image
        if before is None:
            if self.following is not None:
                self.following.begin(image)
        elif image != before:
            found = runs(before, image)
            moves, sides = self._sides(before, image, found)
            self.packed.append(
                _PACKING.encode(self._step((before, image), found, moves, sides, at))
            )

    def _sides(
        self, before: Image, image: Image, found: tuple[Run, ...]
    ) -> tuple[tuple[Move, ...], tuple[Image, Image] | None]:
        """Return the moves, and both images with content where it belongs; None without any.

        Where the image before was moved itself, it is where that belongs that counts.
        """
        away, self._straight = self._straight, None
        if away is None:
            moves = moves_between(before, image, found)
            if not moves:
                return (), None
            self._straight = undo_moves(before, image, moves)
            return moves, (before, self._straight)
        if _nearer(away, before, image):
            return moves_between(before, image, found), (away, image)
        moves = moves_between(away, image, runs(away, image))
        if not moves:
            return moves_between(before, image, found), None
        self._straight = undo_moves(away, image, moves)
        return moves_between(before, image, found), (away, self._straight)

    def _step(
        self,
        shown: tuple[Image, Image],
        found: tuple[Run, ...],
        moves: tuple[Move, ...],
        sides: tuple[Image, Image] | None,
        at: int,
    ) -> Step:
        changed = sum(run.length for run in found)
        rest = runs(*sides) if sides is not None else found
        if self.following is None or self._layout is None:
            loose = tuple(Loose(run.range, UNEXPLAINED) for run in rest)
            return Step(at, changed, moves, (), {}, loose, ())
        seen = self.following.step(shown[1], found, sides)
        for each in seen.changes:
            self._follow(each, at)
        ranges = unexplained(self._layout, rest)
        self._follow_loose(ranges, sides or shown, at)
        return Step(
            at,
            changed,
            moves,
            tuple(each.change for each in seen.changes),
            {each.change.field: each.renewed for each in seen.changes if each.renewed},
            tuple(Loose(each, UNEXPLAINED) for each in ranges),
            seen.broken,
        )

    def _follow(self, seen: Seen, at: int) -> None:
        """Follow one change of a field, where it is neither expected nor a move."""
        kind = seen.change.kind
        if kind not in {PARAMETER, TOLERANCE} or seen.is_check:
            return
        renewed, told = bool(seen.renewed), kind == PARAMETER
        one = Change(at, seen.old, seen.new, guarded=seen.guarded, renewed=renewed, told=told)
        self.tracks.take(seen.change.field, one)

    def _follow_loose(self, ranges: Sequence[Range], sides: tuple[Image, Image], at: int) -> None:
        """Follow single bytes that no field explains, where they are few."""
        if self.following is None or sum(each.length for each in ranges) > MOST_LOOSE:
            return
        for address in (a for each in ranges for a in range(each.start, each.end)):
            old, new = (side.read(address, 1) for side in sides)
            if old is not None and new is not None:
                guarded, renewed = self.following.guards(address, address + 1)
                turn = Turn(at, old, new, guarded=guarded, renewed=bool(renewed))
                self.tracks.take_byte(address, turn)


def _nearer(away: Image, before: Image, image: Image) -> bool:
    """Return whether an image is far nearer to one than to the other."""
    return differing_bytes(away, image) * 2 < differing_bytes(before, image)


def _told(step: Step, faded: dict[str | int, frozenset[int]], flipping: frozenset[str]) -> Step:
    """Return a step whose changes say what only the whole history tells."""

    def sort(change: FieldChange) -> FieldChange:
        if step.image in faded.get(change.field, ()) and change.kind in {PARAMETER, TOLERANCE}:
            return change._replace(kind=FADING)
        if change.field in flipping and change.kind == PARAMETER:
            return change._replace(kind=FLIPS)
        return change

    def sort_loose(loose: Loose) -> Loose:
        every = range(loose.range.start, loose.range.end)
        fades = all(step.image in faded.get(address, ()) for address in every)
        return loose._replace(kind=FADING) if fades else loose

    fields = tuple(sort(change) for change in step.fields)
    loose = tuple(sort_loose(each) for each in step.loose)
    return step._replace(fields=fields, loose=loose)


def changes_of(found: History, field: str) -> Iterator[tuple[int, FieldChange]]:
    """Yield the changes of one field or check, each with the image that first had it."""
    for step in found.steps:
        for change in step.fields:
            if change.field == field:
                yield step.image, change
