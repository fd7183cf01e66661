"""The changes of each value of a memory from step to step, packed: there can be very many."""

from __future__ import annotations

from itertools import groupby
from operator import itemgetter
from struct import Struct
from typing import TYPE_CHECKING, NamedTuple

from parambak.compare import fading

if TYPE_CHECKING:
    from collections.abc import Iterator

_GUARDED, _RENEWED, _TOLD, _NO_OLD, _NO_NEW = 1, 2, 4, 8, 16
_HEAD = Struct("<IBII")  # the step, the marks above, how many bytes were and are stored
_BYTE = Struct("<IIBBB")  # the address, the step, the marks, the byte that was and that is stored
_BLOCK = 256  # addresses whose changes lie together, so that few are unpacked at once


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
        self._packed: dict[str, bytearray] = {}
        self._bytes: dict[int, bytearray] = {}

    def take(self, name: str, change: Change) -> None:
        """Take in one change of a field."""
        marks = change.guarded * _GUARDED | change.renewed * _RENEWED | change.told * _TOLD
        marks |= (change.old is None) * _NO_OLD | (change.new is None) * _NO_NEW
        old, new = change.old or b"", change.new or b""
        packed = self._packed.setdefault(name, bytearray())
        packed += _HEAD.pack(change.step, marks, len(old), len(new)) + old + new

    def take_byte(self, address: int, turn: fading.Turn) -> None:
        """Take in one change of a single byte that no field explains."""
        marks = turn.guarded * _GUARDED | turn.renewed * _RENEWED
        packed = self._bytes.setdefault(address // _BLOCK, bytearray())
        packed += _BYTE.pack(address, turn.step, marks, turn.old[0], turn.new[0])

    def faded(self, blank: int) -> dict[str | int, frozenset[int]]:
        """Return the steps at which each value or byte faded; `blank` is an erased byte."""
        found: dict[str | int, frozenset[int]] = {}
        for name, packed in self._packed.items():
            if steps := fading.fading([*_turns(packed)], blank):
                found[name] = steps
        for packed in self._bytes.values():
            in_order = sorted(_BYTE.iter_unpack(packed), key=itemgetter(0))
            for address, changes in groupby(in_order, key=itemgetter(0)):
                if steps := fading.fading([_turn(*change) for change in changes], blank):
                    found[address] = steps
        return found

    def flipping(self) -> frozenset[str]:
        """Return the fields that flip back and forth."""
        return frozenset(
            name for name, packed in self._packed.items() if fading.flips(_values(packed))
        )


def _turn(_address: int, step: int, marks: int, old: int, new: int) -> fading.Turn:
    guarded, renewed = bool(marks & _GUARDED), bool(marks & _RENEWED)
    return fading.Turn(step, bytes([old]), bytes([new]), guarded=guarded, renewed=renewed)


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
