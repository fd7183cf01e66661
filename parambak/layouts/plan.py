"""A layout prepared for decoding: one flat plan a field, computed once a layout."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from parambak.layouts.decimals import exact, plain, with_point
from parambak.layouts.model import Field
from parambak.layouts.scaling import Line, Scaling, scaling
from parambak.layouts.slots import Slot, named_from, slots

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from decimal import Decimal

    from parambak.layouts.field_types import Codec
    from parambak.layouts.model import Layout

NO_NAME = "value without a name"
OUTSIDE_CURVE = "outside the curve"
_ITSELF = Scaling([Line(Fraction(1), Fraction(0))], [0, 0], written=0, decimals=None)


# What a raw pattern is shown as: its value, whether inside its limits, and a mark.
# A plain tuple, because one is made for each field of each image.
Shown = tuple[str | None, bool | None, str | None]
Limits = tuple[str | None, str | None]


class FieldReader:
    """How one field of the layout is read and judged, the same in all its rows."""

    def __init__(self, slot: Slot, field: Field, blank: int) -> None:
        self.codec: Codec = field.codec(slot.byte_order, blank)
        self.scaling: Scaling | None = scaling(field)
        self.blank = None if field.type.kind == "bytes" else bytes([blank]) * slot.length
        self.is_text = field.type.kind == "text"
        self.is_bits = field.type.takes_bits
        self.value_names = field.value_names
        # A measured value may have a name for a few special numbers; the others need none.
        self.measures = self.scaling is not None or field.unit is not None
        self.low, self.high = _limit(self, field, field.low), _limit(self, field, field.high)
        self.low_text = None if field.low is None else plain(field.low)
        self.high_text = None if field.high is None else plain(field.high)
        self.limits: Limits = (self.low_text, self.high_text)
        self.raw_bounds = _raw_bounds(self) if field.type.is_whole else None
        self.show: Callable[[bytes], Shown] = _shower(self)

    def is_blank(self, raw: bytes, shown: Shown) -> bool:
        """Return whether `raw` is blank, outside its limits and without a name."""
        if raw != self.blank:
            return False
        if self.is_bits:
            return True  # the integer of the shared bytes is blank
        within = shown[1]
        named = self.value_names is not None and self.codec.read(raw).number in self.value_names
        return not within and not named

    def number(self, raw: bytes) -> Fraction | None:
        """Return the exact value of `raw`, None if it is not a number."""
        number = self.codec.read(raw).number
        if number is None:
            return None
        return Fraction(number) if self.scaling is None else self.scaling.value(number)


class FieldPlan(Struct, eq=False):
    """One field at its address: all that does not depend on the image."""

    name: str
    slot: Slot
    field: Field
    reader: FieldReader
    low_from: FieldPlan | None = None
    high_from: FieldPlan | None = None

    @property
    def alone(self) -> bool:
        """Return whether the value depends on no further addresses, and on no limit fields."""
        field = self.field
        return not field.mirror_at and field.low_from is None and field.high_from is None


def _limit(reader: FieldReader, field: Field, limit: Decimal | None) -> Fraction | None:
    """Return a limit as a fraction; for a bare IEEE float, what the type makes of it.

    So a stored 0.1 is inside a limit written 0.1, although neither is exact.
    """
    if limit is None:
        return None
    value = Fraction(limit)
    scaled = field.curve or field.scale is not None or field.offset is not None
    if scaled or not field.type.limit_as_stored:
        return value
    raw = reader.codec.write(value)
    number = None if raw is None else reader.codec.read(raw).number
    return value if number is None else Fraction(number)


def _raw_bounds(reader: FieldReader) -> tuple[int, int] | None:
    if reader.low is None and reader.high is None:
        return None
    if reader.scaling is not None:
        return reader.scaling.raw_bounds(reader.low, reader.high)
    return _ITSELF.raw_bounds(reader.low, reader.high)


def _shower(reader: FieldReader) -> Callable[[bytes], Shown]:
    """Return the function that shows a raw pattern of this field, the quickest that can.

    Most fields are integer numbers with limits in integer numbers, scaled by one exact line:
    they have a function each that asks for nothing that the field does not need.
    """
    integer, bounds = reader.codec.integer, reader.raw_bounds
    bounded = reader.low is not None or reader.high is not None
    if integer is None or (bounded and bounds is None):
        return _any_shower(reader)
    if reader.value_names is not None:
        return _name_shower(reader, integer, reader.value_names)
    units = None if reader.scaling is None else reader.scaling.units()
    if reader.scaling is not None and (units is None or not reader.scaling.places):
        return _any_shower(reader)
    if reader.scaling is None or units is None:
        return _number_shower(integer, bounds)
    return _decimal_shower(integer, bounds, units, reader.scaling.places)


def _name_shower(
    reader: FieldReader, integer: Callable[[bytes], int], meaning: dict[int, str]
) -> Callable[[bytes], Shown]:
    unnamed = _any_shower(reader)

    def show(raw: bytes) -> Shown:
        name = meaning.get(integer(raw))
        return unnamed(raw) if name is None else (name, None, None)

    return show


def _number_shower(
    integer: Callable[[bytes], int], bounds: tuple[int, int] | None
) -> Callable[[bytes], Shown]:
    low, high = bounds or (0, 0)

    def free(raw: bytes) -> Shown:
        return str(integer(raw)), None, None

    def judged(raw: bytes) -> Shown:
        number = integer(raw)
        return str(number), low <= number <= high, None

    return free if bounds is None else judged


def _decimal_shower(
    integer: Callable[[bytes], int],
    bounds: tuple[int, int] | None,
    units: tuple[int, int],
    places: int,
) -> Callable[[bytes], Shown]:
    times, plus = units
    low, high = bounds or (0, 0)
    unit_raw = 10**places  # from here on there is a digit before the point
    before, behind = slice(None, -places), slice(-places, None)

    bounded = bounds is not None

    def show(raw: bytes) -> Shown:
        number = integer(raw)
        value = number * times + plus
        within = low <= number <= high if bounded else None
        if value < unit_raw:
            return with_point(value, places), within, None
        digits = str(value)
        return f"{digits[before]}.{digits[behind]}", within, None

    return show


def _any_shower(reader: FieldReader) -> Callable[[bytes], Shown]:
    read, scale, meaning, bounds = (
        reader.codec.read,
        reader.scaling,
        reader.value_names,
        reader.raw_bounds,
    )

    def show(raw: bytes) -> Shown:
        number, text, mark = read(raw)
        if number is None:
            return text, None, mark
        if meaning is not None:
            name = meaning.get(number) if isinstance(number, int) else None
            if name is not None:
                return name, None, mark
            mark = None if reader.measures else NO_NAME
        if scale is None:
            value = exact(number)
        else:
            value = scale.text(number)
            if value is None:
                return None, None, OUTSIDE_CURVE
        if bounds is not None:
            return value, bounds[0] <= number <= bounds[1], mark
        return value, _within(reader, number), mark

    return show


def _within(reader: FieldReader, number: int | Fraction) -> bool | None:
    low, high = reader.low, reader.high
    if low is None and high is None:
        return None
    value = number if reader.scaling is None else reader.scaling.value(number)
    if value is None:
        return None
    return (low is None or low <= value) and (high is None or value <= high)


Step = tuple[FieldPlan, int, int, "Callable[[bytes], Shown] | None", bytes | None, Limits]


class Plan(NamedTuple):
    """The plans of a layout's fields in address order, and its copies by field name.

    `steps` is what decoding goes through: each plan with its two addresses, and how to
    show, blank pattern and limits if it depends on no other bytes (None if it does).
    """

    fields: tuple[FieldPlan, ...]
    copies: Mapping[str, tuple[int, ...]]
    steps: tuple[Step, ...]


def plan_of(layout: Layout) -> Plan:
    """Return the plan of `layout`, computed at the first call and kept with the layout."""
    kept: Plan | None = layout.__dict__.get("plan")
    if kept is None:
        kept = _plan(layout)
        layout.__dict__["plan"] = kept
    return kept


def _plan(layout: Layout) -> Plan:
    made: list[FieldPlan] = []
    copies: dict[str, list[int]] = {}
    readers: dict[int, FieldReader] = {}
    for slot in slots(layout):
        field = slot.entry
        if not isinstance(field, Field) or slot.again:
            continue
        if id(field) not in readers:
            readers[id(field)] = FieldReader(slot, field, layout.blank)
        made.append(FieldPlan(slot.name, slot, field, readers[id(field)]))
    by_name = {plan.name: plan for plan in made}
    for plan in made:
        field = plan.field
        for offset in field.mirror_at:
            copies.setdefault(plan.name, []).append(plan.slot.at - field.at + offset)
        if field.low_from is not None:
            plan.low_from = named_from(by_name, field.low_from, plan.slot.prefix)
        if field.high_from is not None:
            plan.high_from = named_from(by_name, field.high_from, plan.slot.prefix)
    steps = tuple(map(_step, made))
    return Plan(tuple(made), {name: tuple(addresses) for name, addresses in copies.items()}, steps)


def _step(plan: FieldPlan) -> Step:
    reader, slot = plan.reader, plan.slot
    show = reader.show if plan.alone else None
    return (plan, slot.at, slot.end, show, reader.blank, reader.limits)
