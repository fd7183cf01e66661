"""A value as shown, in every form in which the layout language can store it.

A form is the bytes that each copy would hold; interpretations that give the same bytes (u16
and s16 of a positive number) share one form. Where a display rounds, a form is a span
of bytes instead of one pattern: see `Span`.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from typing import TYPE_CHECKING

from parambak.find.forms import (
    BCD_SHARE,
    DECIMAL,
    DIGITS_SHARE,
    FINER,
    FRACTIONS,
    LAST_DIGIT,
    ORDERS,
    ROUNDED,
    SCALES,
    SHARES,
    Form,
    Interpretation,
    Span,
)
from parambak.layouts.field_types import codec
from parambak.layouts.model import Field

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.find.panel_values import PanelValue, Shown
    from parambak.layouts.model import Encoding, TypeName

_WIDE = (5, 6, 7, 8)
_FLOATS: tuple[TypeName, ...] = (
    "f16", "f32", "f64", "mbf32", "mbf40", "mbf64", "ibm32", "ibm64", "ffp32",
)  # fmt: skip
_FLOAT_SCALES = {Fraction(1): 0.95, Fraction(100): 0.02, Fraction(1, 1000): 0.01}
_LENGTHS = {"f16": 2, "f64": 8, "mbf40": 5, "mbf64": 8, "ibm64": 8}
_ENCODINGS: tuple[Encoding, ...] = (
    "ascii", "latin-1", "utf-8", "utf-16-be", "utf-16-le", "cp437", "cp850", "cp852", "cp866",
    "cp1250", "cp1251", "cp1252", "iso8859-2", "iso8859-5", "iso8859-7", "iso8859-15", "koi8-r",
    "shift-jis",
)  # fmt: skip

Needles = tuple[bytes | Span | None, ...]
Found = dict[Needles, list[Interpretation]]


def forms(wanted: PanelValue) -> tuple[Form, ...]:
    """Return every form in which the values may be stored, likely interpretations first."""
    found: Found = {}
    if any(each is not None and each.number is None for each in wanted.shown):
        _texts(wanted.shown, found, 1.0)
    else:
        for scale, share in _scales(wanted.shown):
            _scaled(wanted, scale, 0, share, found)
        for fraction, share in FRACTIONS.items():
            _scaled(wanted, Fraction(1, 1 << fraction), fraction, share, found)
        _floats(wanted, found)
        _texts(wanted.shown, found, DIGITS_SHARE)
    return tuple(
        Form(needles, each[0].length, tuple(sorted(each, key=lambda one: -one.share)))
        for needles, each in found.items()
    )


def _add(
    found: Found, needles: Sequence[bytes | Span | None], interpretation: Interpretation
) -> None:
    if any(needles):
        found.setdefault(tuple(needles), []).append(interpretation)


def _places(shown: Sequence[Shown | None]) -> int:
    return max(each.places for each in shown if each is not None)


def _scales(shown: Sequence[Shown | None]) -> Iterator[tuple[Fraction, float]]:
    last = Fraction(1, 10 ** _places(shown))
    yield last, LAST_DIGIT
    for scale, share in SCALES.items():
        if scale != last:
            yield scale, share


def _scaled(wanted: PanelValue, scale: Fraction, fraction: int, share: float, found: Found) -> None:
    """Add what whole numbers times `scale` may be: exact, or rounded by the display."""
    raws: list[tuple[int, int] | None] = []
    half = Fraction(1, 2 * 10 ** _places(wanted.shown))
    rounded = False
    for each in wanted.shown:
        if each is None or each.number is None:
            raws.append(None)
            continue
        exact = each.number / scale
        if exact.denominator == 1:
            raws.append((int(exact), int(exact)))
            continue
        low, high = ceil((each.number - half) / scale), floor((each.number + half) / scale)
        if low > high:
            return
        raws.append((low, high))
        rounded = True
    if all(raw is None or raw[0] == raw[1] for raw in raws):
        less = ROUNDED if rounded else FINER if scale < 2 * half else 1
        _exact(raws, scale, fraction, share * less, found)
    if scale < 2 * half and wanted.changed:
        for index, each in enumerate(wanted.shown):
            if each is not None and each.number is not None:
                ends = (each.number - half) / scale, (each.number + half) / scale
                raws[index] = ceil(ends[0]), floor(ends[1])
        _spans(raws, scale, fraction, share * ROUNDED, found)


def _exact(
    raws: Sequence[tuple[int, int] | None],
    scale: Fraction,
    fraction: int,
    share: float,
    found: Found,
) -> None:
    numbers = [None if raw is None else raw[0] for raw in raws]
    kept_scale = Fraction(1) if fraction else scale
    common = share >= LAST_DIGIT or scale == 1
    for name, length in _whole_types(numbers, wide=common, narrow=not fraction):
        for order in ORDERS if length > 1 else (None,):
            needles = [
                None
                if number is None
                else number.to_bytes(length, order or "big", signed=name[0] == "s")
                for number in numbers
            ]
            of_type = share * SHARES[name] / (2 if order else 1)
            _add(
                found,
                needles,
                Interpretation(name, length, order, kept_scale, fraction, None, of_type),
            )
    if not fraction and (common or scale in DECIMAL):
        _by_codec(numbers, scale, share, found, gray=share >= LAST_DIGIT)


def _whole_types(
    numbers: Sequence[int | None], *, wide: bool, narrow: bool
) -> Iterator[tuple[TypeName, int]]:
    """Yield each integer type that can hold all the numbers."""
    known = [number for number in numbers if number is not None]
    low, high = min(known), max(known)
    for name, length in _INTEGERS:
        if (length in _WIDE and not wide) or (length == 1 and not narrow):
            continue
        bits = 8 * length
        if name[0] == "s":
            if -(1 << (bits - 1)) <= low and high < 1 << (bits - 1):
                yield name, length
        elif low >= 0 and high < 1 << bits:
            yield name, length


_INTEGERS: tuple[tuple[TypeName, int], ...] = tuple(
    (name, int(name[1:]) // 8) for name in SHARES if name[0] in "us" and name[1:].isdecimal()
)


def _by_codec(
    numbers: Sequence[int | None], scale: Fraction, share: float, found: Found, *, gray: bool
) -> None:
    """Add BCD, and sign-magnitude and Gray where they differ from plain integers."""
    negative = any(number is not None and number < 0 for number in numbers)
    kinds: list[tuple[TypeName, int, float]] = []
    if negative:
        kinds = [("sign-magnitude", length, SHARES["sign-magnitude"]) for length in (1, 2, 4)]
    else:
        kinds = [("bcd", length, BCD_SHARE) for length in (1, 2, 3, 4, 5, 6, 8)]
        if gray:
            kinds += [("gray", length, SHARES["gray"]) for length in (1, 2, 4)]
    for name, length, of_type in kinds:
        for order in ORDERS if length > 1 else (None,):
            write = codec(_field(name, length), length, order or "big").write
            needles = [None if number is None else write(number) for number in numbers]
            if all((a is None) == (b is None) for a, b in zip(needles, numbers, strict=True)):
                of_all = share * of_type / (2 if order else 1)
                _add(found, needles, Interpretation(name, length, order, scale, 0, None, of_all))


@lru_cache(maxsize=256)
def _field(name: TypeName, length: int) -> Field:
    return Field(name="wanted", at=0, type=name, length=length)


def _spans(
    raws: Sequence[tuple[int, int] | None],
    scale: Fraction,
    fraction: int,
    share: float,
    found: Found,
) -> None:
    """Add the numbers that the display would round to what it showed: 16 and 32 bits."""
    known = [raw for raw in raws if raw is not None]
    low, high = min(raw[0] for raw in known), max(raw[1] for raw in known)
    kept_scale = Fraction(1) if fraction else scale
    names: tuple[TypeName, TypeName] = ("s16", "s32") if low < 0 else ("u16", "u32")
    for name, length in zip(names, (2, 4), strict=True):
        top = 1 << (8 * length - (low < 0))
        if high >= top or low < -top or any(raw[0] < 0 <= raw[1] for raw in known):
            continue
        for order in ORDERS:
            needles = [
                None
                if raw is None
                else Span(raw[0] % (1 << 8 * length), raw[1] % (1 << 8 * length), length, order)
                for raw in raws
            ]
            _add(
                found,
                needles,
                Interpretation(
                    name, length, order, kept_scale, fraction, None, share * SHARES[name] / 2
                ),
            )


def _floats(wanted: PanelValue, found: Found) -> None:
    """Add every floating point form: the nearest to what is shown, and what rounds to it."""
    half = Fraction(1, 2 * 10 ** _places(wanted.shown))
    for name in _FLOATS:
        length = _LENGTHS.get(name, 4)
        for scale, share in _FLOAT_SCALES.items() if name == "f32" else ((Fraction(1), 1.0),):
            exact: list[bytes | None] = []
            spans: list[Span | None] = []
            write = codec(_field(name, length), length, "big").write
            for each in wanted.shown:
                if each is None or each.number is None:
                    exact.append(None)
                    spans.append(None)
                    continue
                exact.append(write(each.number / scale))
                ends = (each.number - half) / scale, (each.number + half) / scale
                spans.append(_float_span(name, length, write(ends[0]), write(ends[1])))
            seen = wanted.seen
            if any(exact[index] is None for index in seen):
                continue
            of_type = share * SHARES[name] / 2
            for order in ORDERS:
                turned = [raw if raw is None or order == "big" else raw[::-1] for raw in exact]
                _add(found, turned, Interpretation(name, length, order, scale, 0, None, of_type))
                if length < 4 or scale != 1 or any(spans[index] is None for index in seen):
                    continue
                ordered = [None if span is None else span._replace(order=order) for span in spans]
                interpretation = Interpretation(
                    name, length, order, scale, 0, None, of_type * 2 * ROUNDED
                )
                _add(found, ordered, interpretation)


def _float_span(name: str, length: int, low: bytes | None, high: bytes | None) -> Span | None:
    """Return the patterns between two floats; None where they do not follow each other.

    All but Motorola's rise with the value as whole numbers do, or fall where it is
    negative; that one has sign and exponent last, and must agree in them.
    """
    if low is None or high is None:
        return None
    if name == "ffp32":
        tail = low[3] if low[3] == high[3] else None
        ends = sorted((int.from_bytes(low, "big"), int.from_bytes(high, "big")))
        return None if tail is None else Span(ends[0], ends[1], length, "big", tail)
    first, last = sorted((int.from_bytes(low, "big"), int.from_bytes(high, "big")))
    if (first ^ last) >> (8 * length - 8 - (8 if name.startswith("mbf") else 0)) & 0x80:
        return None  # the ends have different signs
    return Span(first, last, length, "big")


def _texts(shown: Sequence[Shown | None], found: Found, share: float) -> None:
    """Add the text in each encoding that gives bytes of its own."""
    for number, encoding in enumerate(_ENCODINGS):
        needles: list[bytes | None] = []
        for each in shown:
            try:
                needles.append(None if each is None else each.text.encode(encoding))
            except UnicodeEncodeError:
                break
        if len(needles) < len(shown):
            continue
        length = max(len(each) for each in needles if each is not None)
        if length < 2:
            return
        of_all = share * (0.9 if number == 0 else 0.1 if number < 5 else 0.02)
        _add(found, needles, Interpretation("text", length, None, Fraction(1), 0, encoding, of_all))
