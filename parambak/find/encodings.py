"""A value as shown, in every form in which the layout language can store it.

A form is the bytes that each copy would hold; interpretations that give the same bytes (u16
and s16 of a positive number) share one form. If a display rounds, a form is a span
of bytes instead of one pattern: see `Span`. The types are those of `field_types.TYPES`.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from math import ceil, floor
from types import MappingProxyType
from typing import TYPE_CHECKING, get_args

from parambak.find.forms import (
    DECIMAL,
    DIGITS_SHARE,
    FINER,
    FRACTIONS,
    LAST_DIGIT,
    ORDERS,
    ROUNDED,
    SCALES,
    Form,
    Interpretation,
    Span,
)
from parambak.layouts import field_types
from parambak.layouts.field_types import Storage
from parambak.layouts.model import Encoding

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from parambak.find.panel_values import PanelValue, Shown
    from parambak.layouts.field_types import ByteOrder, FieldType

_WIDE = (5, 6, 7, 8)
_RARE = 0.003
"""Share of a type of open length below which it is tried with the display's own scale alone."""
_FLOAT_SCALES: Mapping[str, Mapping[Fraction, float]] = MappingProxyType(
    {"f32": {Fraction(1): 0.95, Fraction(100): 0.02, Fraction(1, 1000): 0.01}}
)
_UNSCALED: Mapping[Fraction, float] = MappingProxyType({Fraction(1): 1.0})

Needles = tuple[bytes | Span | None, ...]
FormTable = dict[Needles, list[Interpretation]]


def forms(value: PanelValue) -> tuple[Form, ...]:
    """Return every form in which the value may be stored, likely interpretations first."""
    table: FormTable = {}
    if any(shown is not None and shown.number is None for shown in value.shown):
        _texts(value.shown, table, 1.0)
    else:
        for scale, share in _scales(value.shown):
            _scaled(value, scale, 0, share, table)
        for fraction, share in FRACTIONS.items():
            _scaled(value, Fraction(1, 1 << fraction), fraction, share, table)
        _floats(value, table)
        _texts(value.shown, table, DIGITS_SHARE)
    return tuple(
        Form(needles, ways[0].length, tuple(sorted(ways, key=lambda way: -way.share)))
        for needles, ways in table.items()
    )


def _add(
    table: FormTable, needles: Sequence[bytes | Span | None], interpretation: Interpretation
) -> None:
    if any(needles):
        table.setdefault(tuple(needles), []).append(interpretation)


@lru_cache(maxsize=512)
def _writer(
    field_type: FieldType, length: int, order: ByteOrder
) -> Callable[[int | Fraction | str], bytes | None]:
    return field_type.codec(Storage(length, order)).write


def _numbers(*, whole: bool, open_length: bool = False) -> list[FieldType]:
    """Return the types in which numbers are looked for, of fixed or of open length."""
    return [
        field_type
        for field_type in field_types.TYPES.values()
        if field_type.searched
        and field_type.is_whole is whole
        and (field_type.length is None) is open_length
    ]


def _places(shown: Sequence[Shown | None]) -> int:
    return max(value.places for value in shown if value is not None)


def _scales(shown: Sequence[Shown | None]) -> Iterator[tuple[Fraction, float]]:
    last = Fraction(1, 10 ** _places(shown))
    yield last, LAST_DIGIT
    for scale, share in SCALES.items():
        if scale != last:
            yield scale, share


def _scaled(
    value: PanelValue, scale: Fraction, fraction: int, share: float, table: FormTable
) -> None:
    """Add what whole numbers times `scale` may be: exact, or rounded by the display."""
    raws: list[tuple[int, int] | None] = []
    half = Fraction(1, 2 * 10 ** _places(value.shown))
    rounded = False
    for shown in value.shown:
        if shown is None or shown.number is None:
            raws.append(None)
            continue
        exact = shown.number / scale
        if exact.denominator == 1:
            raws.append((int(exact), int(exact)))
            continue
        low, high = ceil((shown.number - half) / scale), floor((shown.number + half) / scale)
        if low > high:
            return
        raws.append((low, high))
        rounded = True
    if all(raw is None or raw[0] == raw[1] for raw in raws):
        less = ROUNDED if rounded else FINER if scale < 2 * half else 1
        _exact(raws, scale, fraction, share * less, table)
    if scale < 2 * half and value.changed:
        for index, shown in enumerate(value.shown):
            if shown is not None and shown.number is not None:
                ends = (shown.number - half) / scale, (shown.number + half) / scale
                raws[index] = ceil(ends[0]), floor(ends[1])
        _spans(raws, scale, fraction, share * ROUNDED, table)


def _exact(
    raws: Sequence[tuple[int, int] | None],
    scale: Fraction,
    fraction: int,
    share: float,
    table: FormTable,
) -> None:
    numbers = [None if raw is None else raw[0] for raw in raws]
    form_scale = Fraction(1) if fraction else scale
    common = share >= LAST_DIGIT or scale == 1
    for field_type, length in _whole_types(numbers, wide=common, narrow=not fraction):
        _add_written(table, field_type, length, numbers, form_scale, fraction, share)
    if not fraction and (common or scale in DECIMAL):
        for field_type, length in _open_types(numbers, rare=share >= LAST_DIGIT):
            _add_written(table, field_type, length, numbers, scale, 0, share)


def _add_written(  # noqa: PLR0913, PLR0917 - a form's parts
    table: FormTable,
    field_type: FieldType,
    length: int,
    numbers: Sequence[int | None],
    scale: Fraction,
    fraction: int,
    share: float,
) -> None:
    """Add what the numbers are in a type, in both byte orders; nothing if one is too large."""
    for order in ORDERS if length > 1 and field_type.ordered else (None,):
        write = _writer(field_type, length, order or "big")
        needles = [None if number is None else write(number) for number in numbers]
        if any(
            raw is None and number is not None for raw, number in zip(needles, numbers, strict=True)
        ):
            return
        of_type = share * field_type.share / (2 if order else 1)
        way = Interpretation(field_type, length, order, scale, fraction, None, of_type)
        _add(table, needles, way)


def _whole_types(
    numbers: Sequence[int | None], *, wide: bool, narrow: bool
) -> Iterator[tuple[FieldType, int]]:
    """Yield each whole-number type of fixed length that can hold all the numbers."""
    given = [number for number in numbers if number is not None]
    low, high = min(given), max(given)
    for field_type in _numbers(whole=True):
        length, bounds = field_type.length or 1, field_type.bounds
        if bounds is None or (length in _WIDE and not wide) or (length == 1 and not narrow):
            continue
        lowest, highest = bounds(8 * length)
        if lowest <= low and high <= highest:
            yield field_type, length


def _open_types(numbers: Sequence[int | None], *, rare: bool) -> Iterator[tuple[FieldType, int]]:
    """Yield the whole-number types of open length, as long as they are usual.

    Those with a sign only if they differ from plain integers.
    """
    negative = any(number is not None and number < 0 for number in numbers)
    for field_type in _numbers(whole=True, open_length=True):
        signed = field_type.bounds is not None and field_type.bounds(8)[0] < 0
        if signed is negative and (rare or field_type.share >= _RARE):
            for length in field_type.lengths:
                yield field_type, length


def _spans(
    raws: Sequence[tuple[int, int] | None],
    scale: Fraction,
    fraction: int,
    share: float,
    table: FormTable,
) -> None:
    """Add the numbers that the display would round to what it showed: 16 and 32 bits."""
    given = [raw for raw in raws if raw is not None]
    low, high = min(raw[0] for raw in given), max(raw[1] for raw in given)
    form_scale = Fraction(1) if fraction else scale
    for name in ("s16", "s32") if low < 0 else ("u16", "u32"):
        field_type = field_types.TYPES[name]
        length = field_type.length or 1
        top = 1 << (8 * length - (low < 0))
        if high >= top or low < -top or any(raw[0] < 0 <= raw[1] for raw in given):
            continue
        of_type = share * field_type.share / 2
        for order in ORDERS:
            needles = [
                None
                if raw is None
                else Span(raw[0] % (1 << 8 * length), raw[1] % (1 << 8 * length), length, order)
                for raw in raws
            ]
            way = Interpretation(field_type, length, order, form_scale, fraction, None, of_type)
            _add(table, needles, way)


def _floats(value: PanelValue, table: FormTable) -> None:
    """Add every floating point form: the nearest to what is shown, and what rounds to it."""
    for field_type in (*_numbers(whole=False), *_numbers(whole=False, open_length=True)):
        for scale, share in _FLOAT_SCALES.get(field_type.name, _UNSCALED).items():
            for length in field_type.lengths:
                _add_float(value, field_type, length, scale, share * field_type.share / 2, table)


def _add_float(  # noqa: PLR0913, PLR0917 - a form's parts
    value: PanelValue,
    field_type: FieldType,
    length: int,
    scale: Fraction,
    share: float,
    table: FormTable,
) -> None:
    half = Fraction(1, 2 * 10 ** _places(value.shown))
    exact: list[bytes | None] = []
    spans: list[Span | None] = []
    write = _writer(field_type, length, "big")
    for shown in value.shown:
        if shown is None or shown.number is None:
            exact.append(None)
            spans.append(None)
            continue
        exact.append(write(shown.number / scale))
        ends = (shown.number - half) / scale, (shown.number + half) / scale
        spans.append(_float_span(field_type, length, write(ends[0]), write(ends[1])))
    if any(exact[index] is None for index in value.seen):
        return
    for order in ORDERS:
        turned = [raw if raw is None or order == "big" else raw[::-1] for raw in exact]
        _add(table, turned, Interpretation(field_type, length, order, scale, 0, None, share))
        if length < 4 or scale != 1 or any(spans[index] is None for index in value.seen):
            continue
        ordered = [None if span is None else span._replace(order=order) for span in spans]
        rounded = share * 2 * ROUNDED
        _add(table, ordered, Interpretation(field_type, length, order, scale, 0, None, rounded))


def _float_span(
    field_type: FieldType, length: int, low: bytes | None, high: bytes | None
) -> Span | None:
    """Return the patterns between two floats; None if they do not follow each other.

    They rise with the value as whole numbers do, or fall if it is negative. If sign and exponent
    come last, both ends must agree in them.
    """
    if low is None or high is None or field_type.sign_byte is None:
        return None
    first, last = sorted((int.from_bytes(low, "big"), int.from_bytes(high, "big")))
    if field_type.sign_byte == length - 1:
        return Span(first, last, length, "big", low[-1]) if low[-1] == high[-1] else None
    if (first ^ last) >> 8 * (length - 1 - field_type.sign_byte) & 0x80:
        return None  # the ends have different signs
    return Span(first, last, length, "big")


def _texts(shown: Sequence[Shown | None], table: FormTable, share: float) -> None:
    """Add the text in each encoding that gives bytes of its own."""
    for number, encoding in enumerate(get_args(Encoding)):
        needles: list[bytes | None] = []
        for value in shown:
            try:
                needles.append(None if value is None else value.text.encode(encoding))
            except UnicodeEncodeError:
                break
        if len(needles) < len(shown):
            continue
        length = max(len(raw) for raw in needles if raw is not None)
        if length < 2:
            return
        of_all = share * (0.9 if number == 0 else 0.1 if number < 5 else 0.02)
        text = field_types.TYPES["text"]
        _add(table, needles, Interpretation(text, length, None, Fraction(1), 0, encoding, of_all))
