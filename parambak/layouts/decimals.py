"""Exact decimal text, without a binary float anywhere."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from decimal import Decimal

MOST_PLAIN = 60  # characters; longer numbers are written with an exponent, still exact


def places_of(value: Decimal) -> int:
    """Return how many digits `value` has after the point as it was written."""
    exponent = value.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def terminating_places(value: Fraction) -> int | None:
    """Return how many digits after the point write `value` exactly; None if no number does."""
    rest, twos, fives = value.denominator, 0, 0
    if rest & (rest - 1) == 0:
        return rest.bit_length() - 1
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    return max(twos, fives) if rest == 1 else None


def with_point(units: int, places: int) -> str:
    """Return `units` of 10 to the power of -`places` as text: 3 and 1 give "0.3"."""
    if places == 0:
        return str(units)
    digits = str(abs(units)).rjust(places + 1, "0")
    return f"{'-' if units < 0 else ''}{digits[:-places]}.{digits[-places:]}"


def rounded(value: Fraction, places: int) -> str:
    """Return `value` with `places` digits after the point, rounded half to even."""
    return with_point(round(value * 10**places), places)


def trimmed(text: str, fewest: int) -> str:
    """Return `text` without zeros at its end, `fewest` digits after the point kept."""
    whole, point, digits = text.partition(".")
    if not point:
        return text
    kept = digits.rstrip("0").ljust(fewest, "0")
    return f"{whole}.{kept}" if kept else whole


def exact(value: Fraction | int, fewest: int = 0) -> str | None:
    """Return `value` exactly, zeros at the end trimmed; None if no decimal is exact.

    Text longer than 60 characters is written with an exponent ("1.5E+100").
    """
    value = Fraction(value)
    places = terminating_places(value)
    if places is None:
        return None
    units = int(value * 10**places)
    text = trimmed(with_point(units, places), fewest)
    return text if len(text) <= MOST_PLAIN else _with_exponent(units, places)


def _with_exponent(units: int, places: int) -> str:
    digits = str(abs(units))
    power = len(digits) - 1 - places
    digits = digits.rstrip("0") or "0"
    rest = f".{digits[1:]}" if len(digits) > 1 else ""
    return f"{'-' if units < 0 else ''}{digits[0]}{rest}E{power:+d}"


def plain(value: Decimal) -> str:
    """Return a layout's own number as text without an exponent, as it was written."""
    return format(value, "f")
