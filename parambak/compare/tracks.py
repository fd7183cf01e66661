"""The changes of each value of a memory from step to step, packed: there can be very many."""

from __future__ import annotations

from struct import Struct
from typing import TYPE_CHECKING, NamedTuple

from parambak.compare import fading

if TYPE_CHECKING:
    from collections.abc import Iterator

_GUARDED, _RENEWED, _TOLD, _NO_OLD, _NO_NEW = 1, 2, 4, 8, 16
_HEAD = Struct("<IBII")  # the step, the marks above, how many bytes were and are stored


class Change(NamedTuple):
    """One change of a value: a turn (fading.py) of which a side may be absent.

    `told` is whether it is more than the layout's tolerance takes for the same.
    """

    step: int
    old: bytes | None
    new: bytes | None
    guarded: bool
    renewed: bool
    told: bool


class Tracks:
    """The changes of fields by name, and of single bytes by address."""

    def __init__(self) -> None:
        self._packed: dict[str | int, bytearray] = {}

    def take(self, name: str | int, change: Change) -> None:
        """Take in one change."""
        marks = change.guarded * _GUARDED | change.renewed * _RENEWED | change.told * _TOLD
        marks |= (change.old is None) * _NO_OLD | (change.new is None) * _NO_NEW
        old, new = change.old or b"", change.new or b""
        packed = self._packed.setdefault(name, bytearray())
        packed += _HEAD.pack(change.step, marks, len(old), len(new)) + old + new

    def faded(self, blank: int) -> dict[str | int, frozenset[int]]:
        """Return the steps at which each value or byte faded; `blank` is an erased byte."""
        found = {}
        for name, packed in self._packed.items():
            steps = fading.fading([*_turns(packed)], blank)
            if steps:
                found[name] = steps
        return found

    def flipping(self) -> frozenset[str]:
        """Return the fields that flip back and forth."""
        return frozenset(
            name
            for name, packed in self._packed.items()
            if isinstance(name, str) and fading.flips(_values(packed))
        )


def _turns(packed: bytearray) -> Iterator[fading.Turn]:
    """Yield the changes of which both sides are there."""
    for step, old, new, guarded, renewed, _ in _unpacked(packed):
        if old is not None and new is not None:
            yield fading.Turn(step, old, new, guarded=guarded, renewed=renewed)


def _values(packed: bytearray) -> list[bytes | None]:
    """Return the values that a field had, from each change that is told to the next."""
    told = [change for change in _unpacked(packed) if change.told]
    return [*(change.old for change in told[:1]), *(change.new for change in told)]


def _unpacked(packed: bytearray) -> Iterator[Change]:
    at = 0
    while at < len(packed):
        step, marks, was, becomes = _HEAD.unpack_from(packed, at)
        middle = at + _HEAD.size + was
        old = None if marks & _NO_OLD else bytes(packed[middle - was : middle])
        new = None if marks & _NO_NEW else bytes(packed[middle : middle + becomes])
        yield Change(
            step,
            old,
            new,
            guarded=bool(marks & _GUARDED),
            renewed=bool(marks & _RENEWED),
            told=bool(marks & _TOLD),
        )
        at = middle + becomes
