"""The forms in which a value may be stored: patterns, spans, and how they are read."""

from __future__ import annotations

from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.decimals import exact

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.layouts.field_types import ByteOrder, FieldType
    from parambak.layouts.model import Encoding

ORDERS: tuple[ByteOrder, ...] = ("big", "little")
LONGEST = 16
"""Bytes that any number takes at most; text may be longer."""


class Interpretation(NamedTuple):
    """How a form's bytes are read: type, length, byte order, and the way to the value.

    `order` is None if the bytes have none; `share` is how common such an interpretation is,
    before a look at the memory (common practice, no source).
    """

    type: FieldType
    length: int
    order: ByteOrder | None
    scale: Fraction = Fraction(1)
    fraction: int = 0
    encoding: Encoding | None = None
    share: float = 1.0

    @property
    def scale_text(self) -> str | None:
        """Return the scale as an exact decimal; None if the raw number is the value."""
        return None if self.scale == 1 else exact(self.scale)


class Span(NamedTuple):
    """The numbers from `low` to `high` that `length` bytes in `order` may hold.

    `tail` is what their lowest byte must be, if it is fixed.
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
    """What each copy would hold: a pattern, or a span; None if no value was seen."""

    needles: tuple[bytes | Span | None, ...]
    length: int
    interpretations: tuple[Interpretation, ...]


DIGITS_SHARE = 0.005
ROUNDED = 0.15
"""Of interpretations with a scale finer than the display, against those that show all digits."""
FINER = 0.3
"""Of interpretations with a scale finer than the display, those whose further digits are all 0."""

# Scales tried as well as that of the last digit shown, with how common each is.
SCALES: Mapping[Fraction, float] = MappingProxyType(
    {
        Fraction(1): 0.06,
        Fraction(1, 10): 0.06,
        Fraction(1, 100): 0.05,
        Fraction(1, 1000): 0.03,
        Fraction(1, 10000): 0.003,
        Fraction(1, 2): 0.03,
        Fraction(1, 4): 0.02,
        Fraction(1, 5): 0.015,
        Fraction(1, 20): 0.01,
        Fraction(1, 50): 0.004,
        Fraction(1, 40): 0.003,
        Fraction(2): 0.01,
        Fraction(5): 0.01,
        Fraction(5, 2): 0.003,
        Fraction(10): 0.015,
        Fraction(20): 0.003,
        Fraction(50): 0.003,
        Fraction(100): 0.008,
        Fraction(1000): 0.004,
    }
)
LAST_DIGIT = 0.6
DECIMAL = frozenset(Fraction(1, 10**power) for power in range(4))
FRACTIONS = MappingProxyType(
    {3: 0.004, 4: 0.012, 5: 0.003, 6: 0.004, 7: 0.003, 8: 0.012, 10: 0.003, 12: 0.004, 15: 0.003}
    | {16: 0.004}
)


def scale_share(interpretation: Interpretation, places: int) -> float:
    """Return how common the scale is with so many digits after the point."""
    if interpretation.fraction:
        return FRACTIONS[interpretation.fraction]
    return (
        LAST_DIGIT
        if interpretation.scale == Fraction(1, 10**places)
        else SCALES[interpretation.scale]
    )
