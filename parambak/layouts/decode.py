"""An image read by a layout: the value of every field, and whether each check holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from parambak.layouts.coverage import covered_bytes
from parambak.layouts.decimals import exact
from parambak.layouts.faults import OTHER_MEMORY
from parambak.layouts.plan import FieldPlan, plan_of
from parambak.layouts.verdicts import CheckResult, check_results

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from fractions import Fraction

    from parambak.layouts.model import Layout
    from parambak.layouts.plan import Plan
    from parambak.memory.image import Image

__all__ = ["CheckResult", "Decoded", "FieldValue", "decode", "field_value", "require_fit"]


class FieldValue(Struct, frozen=True, gc=False):
    """One field of an image.

    `raw` is as stored, None if a byte of it is absent. `value` is an exact decimal or
    text, None if the bytes hold no value; `mark` gives the reason, or what is unusual ("blank",
    "absent", "not BCD", "value without a name"). `within_limits` is None if there are no limits, or
    no number to judge; `limits` are the low and the high one. What does not depend on the image is
    asked of the `plan`.
    """

    plan: FieldPlan
    raw: bytes | None
    value: str | None
    within_limits: bool | None
    mark: str | None
    limits: tuple[str | None, str | None]

    @property
    def field(self) -> str:
        """Return the name, written out: "channel[3].upper_limit"."""
        return self.plan.name

    @property
    def at(self) -> int:
        """Return the address of the first byte."""
        return self.plan.slot.at

    @property
    def length(self) -> int:
        """Return how many bytes the field takes."""
        return self.plan.slot.length

    @property
    def own(self) -> bytes | None:
        """Return `raw` with the bits of other fields cleared.

        Two values of one field differ if this differs.
        """
        return None if self.raw is None else _only_bits(self.plan, self.raw)

    @property
    def unit(self) -> str | None:
        """Return the unit of the value."""
        return self.plan.field.unit

    @property
    def low(self) -> str | None:
        """Return the lowest allowed value as text."""
        return self.limits[0]

    @property
    def high(self) -> str | None:
        """Return the highest allowed value as text."""
        return self.limits[1]

    @property
    def note(self) -> str | None:
        """Return what the layout notes about the field."""
        return self.plan.field.note

    @property
    def running(self) -> bool:
        """Return whether a change between visits is normal."""
        return self.plan.field.running

    @property
    def volatile(self) -> bool:
        """Return whether the field changes while it is read."""
        return self.plan.field.volatile

    @property
    def belongs_to_card(self) -> bool:
        """Return whether the value is of the card itself."""
        return self.plan.field.belongs_to_card

    @property
    def identifies_unit(self) -> bool:
        """Return whether the value must match the unit."""
        return self.plan.field.identifies_unit

    @property
    def bit(self) -> int | None:
        """Return the lowest bit of flags and bits, None of other types."""
        return self.plan.slot.bit

    @property
    def width(self) -> int | None:
        """Return how many bits flags and bits take, None of other types."""
        return self.plan.slot.width

    @property
    def row(self) -> str | None:
        """Return the name of the row that the field is in, if it has one."""
        return self.plan.slot.row


class Decoded(Struct, frozen=True):
    """An image decoded by a layout.

    `covered_bytes` counts the bytes of the memory that the layout explains, stored check
    values included; `size` is that of the memory.
    """

    fields: tuple[FieldValue, ...]
    checks: tuple[CheckResult, ...]
    covered_bytes: int
    size: int


def require_fit(layout: Layout, image: Image) -> None:
    """Raise `layout-other-memory` if `image` is of another size of memory.

    That is: it runs past the layout's memory, or is one whole smaller chip (a single
    stretch from 0 whose size is a power of two).
    """
    size = image.size
    smaller = len(image.blocks) == 1 and image.start == 0 and size & (size - 1) == 0
    if image.end > layout.memory or (smaller and 0 < size < layout.memory):
        raise OTHER_MEMORY.error(
            expected=f"{layout.memory} bytes, the memory of the layout",
            found=f"an image that ends at 0x{max(image.end - 1, 0):04X}, {size} bytes",
        )


def decode(layout: Layout, image: Image) -> Decoded:
    """Read every field and check of `layout` from `image`; what is absent is marked so."""
    read = _reader(image, layout.memory)
    return Decoded(
        tuple(_values(plan_of(layout), image, layout.memory, read)),
        check_results(layout, read),
        covered_bytes(layout),
        layout.memory,
    )


def field_value(layout: Layout, plan: FieldPlan, image: Image) -> FieldValue:
    """Read one field of `layout`, whose plan is given, from `image`."""
    copies = plan_of(layout).copies.get(plan.name, ())
    return _value(plan, _reader(image, layout.memory), copies)


def full_bytes(image: Image, memory: int) -> bytes | None:
    """Return the bytes of the memory if the image holds all of them in one piece."""
    if len(image.blocks) == 1 and image.start == 0 and image.end >= memory:
        return image.blocks[0].data
    return None


def _reader(image: Image, memory: int) -> Callable[[int, int], bytes | None]:
    """Return the function that reads bytes; plain slicing if the image is complete."""
    data = full_bytes(image, memory)
    if data is None:
        return image.read

    def read(start: int, length: int) -> bytes | None:
        return data[start : start + length]

    return read


def _values(
    plan: Plan, image: Image, memory: int, read: Callable[[int, int], bytes | None]
) -> list[FieldValue]:
    """Return the values of all fields; in a complete image, simple fields by slices."""
    data = full_bytes(image, memory)
    if data is None:
        return [
            _value(field_plan, read, plan.copies.get(field_plan.name, ()))
            for field_plan in plan.fields
        ]
    values = []
    for field_plan, at, end, show, blank, limits in plan.steps:
        raw = data[at:end]
        if show is not None and raw != blank:
            value, within, mark = show(raw)
            values.append(FieldValue(field_plan, raw, value, within, mark, limits))
        else:
            values.append(_value(field_plan, read, plan.copies.get(field_plan.name, ())))
    return values


def _value(
    plan: FieldPlan, read: Callable[[int, int], bytes | None], copies: Sequence[int]
) -> FieldValue:
    raw = read(plan.slot.at, plan.slot.length)
    value: str | None = None
    within: bool | None = None
    mark: str | None = "absent"
    limits = plan.reader.limits
    if raw is not None:
        value, within, mark = plan.reader.show(raw)
        if plan.low_from is not None or plan.high_from is not None:
            within, limits = _by_other_fields(plan, raw, read)
        if raw == plan.reader.blank and plan.reader.is_blank(raw, (value, within, mark)):
            value, mark = (None if plan.reader.is_text else value), "blank"
        if copies:
            mark = _vote(plan, raw, read, copies) or mark
    return FieldValue(plan, raw, value, within, mark, limits)


def _by_other_fields(
    plan: FieldPlan, raw: bytes, read: Callable[[int, int], bytes | None]
) -> tuple[bool | None, tuple[str | None, str | None]]:
    """Return whether the value is inside limits that other fields hold, and those limits."""
    number = plan.reader.number(raw)
    low, low_text = _limit_of(plan.low_from, plan.reader.low, plan.reader.low_text, read)
    high, high_text = _limit_of(plan.high_from, plan.reader.high, plan.reader.high_text, read)
    unknown = (plan.low_from and low is None) or (plan.high_from and high is None)
    if number is None or unknown:
        return None, (low_text, high_text)
    within = (low is None or low <= number) and (high is None or number <= high)
    return within, (low_text, high_text)


def _limit_of(
    other: FieldPlan | None,
    fixed: Fraction | None,
    fixed_text: str | None,
    read: Callable[[int, int], bytes | None],
) -> tuple[Fraction | None, str | None]:
    if other is None:
        return fixed, fixed_text
    raw = read(other.slot.at, other.slot.length)
    if raw is None or raw == other.reader.blank:  # a blank limit is no limit
        return None, None
    number = other.reader.number(raw)
    if number is None:
        return None, None
    return number, other.reader.show(raw)[0] if other.reader.value_names is None else exact(number)


def _vote(
    plan: FieldPlan, raw: bytes, read: Callable[[int, int], bytes | None], copies: Sequence[int]
) -> str | None:
    """Return what each address of one value holds, None if they all agree."""
    slot = plan.slot
    held: dict[bytes | None, list[int]] = {_only_bits(plan, raw): [slot.at]}
    for at in copies:
        other = read(at, slot.length)
        key = None if other is None else _only_bits(plan, other)
        held.setdefault(key, []).append(at)
    if len(held) == 1:
        return None
    ranked = sorted(held.items(), key=lambda entry: -len(entry[1]))
    parts = [
        f"{' and '.join(f'0x{at:04X}' for at in where)} {_held(key, len(where))}"
        for key, where in ranked
    ]
    settled = len(ranked[0][1]) > len(ranked[1][1])
    verdict = "most addresses agree" if settled else "no majority"
    return f"addresses differ: {'; '.join(parts)} ({verdict})"


def _held(key: bytes | None, count: int) -> str:
    if key is None:
        return "absent"
    return f"{'hold' if count > 1 else 'holds'} {key.hex().upper()}"


def _only_bits(plan: FieldPlan, raw: bytes) -> bytes:
    """Return what the field's own bits hold, other bits of the bytes left out."""
    slot = plan.slot
    if slot.bit is None or slot.width is None:
        return raw
    mask = ((1 << slot.width) - 1) << slot.bit
    kept = int.from_bytes(raw, slot.byte_order) & mask
    return kept.to_bytes(slot.length, slot.byte_order)
