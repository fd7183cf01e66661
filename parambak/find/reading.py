"""The forms in which a value may be stored: patterns, spans, and how they are read."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from parambak.layouts.model import ByteOrder, Encoding, TypeName

ORDERS: tuple[ByteOrder, ...] = ("big", "little")
LONGEST = 16
"""Bytes that any number takes at most; text may be longer."""


class Reading(NamedTuple):
    """How a form's bytes are read: type, length, byte order, and the way to the value.

    `order` is None where the bytes have none; `share` is how common such a reading is,
    before anything is known of the memory (common practice, no source).
    """

    type: TypeName
    length: int
    order: ByteOrder | None
    scale: Fraction = Fraction(1)
    fraction: int = 0
    encoding: Encoding | None = None
    share: float = 1.0


class Span(NamedTuple):
    """The numbers from `low` to `high` that `length` bytes in `order` may hold.

    `tail` is what their lowest byte must be, where it is fixed.
    """

    low: int
    high: int
    length: int
    order: ByteOrder
    tail: int | None = None

    @property
    def leading(self) -> bytes:
        """Return the bytes that all of the span begin with, most significant first."""
        low, high = self.ends
        same = 0
        while same < self.length and low[same] == high[same]:
            same += 1
        return low[:same]

    @property
    def ends(self) -> tuple[bytes, bytes]:
        """Return the lowest and the highest, most significant byte first."""
        return self.low.to_bytes(self.length, "big"), self.high.to_bytes(self.length, "big")

    def holds(self, raw: bytes) -> bool:
        """Return whether the bytes are one of the span's."""
        number = int.from_bytes(raw, self.order)
        return self.low <= number <= self.high and self.tail in {None, number & 0xFF}


class Form(NamedTuple):
    """What each copy would hold: a pattern, or a span; None where no value was seen."""

    needles: tuple[bytes | Span | None, ...]
    length: int
    readings: tuple[Reading, ...]
