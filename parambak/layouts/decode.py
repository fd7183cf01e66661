"""An image read by a layout: the value of every field, and whether each check holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from parambak.layouts.coverage import covered_bytes
from parambak.layouts.decimals import exact
from parambak.layouts.faults import OTHER_MEMORY
from parambak.layouts.plan import FieldPlan, Shown, plan_of
from parambak.layouts.verdicts import CheckResult, check_results

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from fractions import Fraction

    from parambak.layouts.model import Layout
    from parambak.memory.image import Image

__all__ = ["CheckResult", "Decoded", "FieldValue", "decode", "require_fit"]


class FieldValue(Struct, frozen=True, gc=False):
    """One field of an image.

    `raw` is as stored, None where a byte of it is absent. `value` is an exact decimal or
    text, None where the bytes stand for none; `mark` says why there is none, or what is
    odd ("blank", "absent", "not BCD", "no meaning given"). `own` is `raw` with the bits of
    other fields cleared: two values of one field differ where it differs. `within_limits` is
    None where there are no limits, or no number to judge. `bit` and `width` are of flags and
    bits.
    """

    field: str
    at: int
    length: int
    raw: bytes | None
    own: bytes | None
    value: str | None
    unit: str | None
    within_limits: bool | None
    low: str | None
    high: str | None
    mark: str | None
    note: str | None
    expected_to_change: bool
    live: bool
    belongs_to_card: bool
    identifies_unit: bool
    bit: int | None
    width: int | None
    row: str | None


class Decoded(Struct, frozen=True):
    """What a layout says of an image.

    `covered_bytes` counts the bytes of the memory that the layout explains, stored check
    values included; `size` is that of the memory.
    """

    fields: tuple[FieldValue, ...]
    checks: tuple[CheckResult, ...]
    covered_bytes: int
    size: int


def require_fit(layout: Layout, image: Image) -> None:
    """Raise `layout-other-memory` where `image` is plainly of another size of memory.

    That is: it runs past the layout's memory, or is one whole smaller chip (a single
    stretch from 0 whose size is a power of two).
    """
    size = image.size
    smaller = len(image.blocks) == 1 and image.start == 0 and size & (size - 1) == 0
    if image.end > layout.memory or (smaller and 0 < size < layout.memory):
        raise OTHER_MEMORY.at(
            expected=f"{layout.memory} bytes, as the layout says",
            found=f"an image that ends at 0x{max(image.end - 1, 0):04X}, {size} bytes",
        )


def decode(layout: Layout, image: Image) -> Decoded:
    """Read every field and check of `layout` from `image`; what is absent is marked so."""
    read = _reader(image, layout.memory)
    plan = plan_of(layout)
    return Decoded(
        tuple([_value(each, read, plan.copies.get(each.name, ())) for each in plan.fields]),
        check_results(layout, read),
        covered_bytes(layout),
        layout.memory,
    )


def _reader(image: Image, memory: int) -> Callable[[int, int], bytes | None]:
    """Return the function that reads bytes; plain slicing where the image is whole."""
    if len(image.blocks) == 1 and image.start == 0 and image.end >= memory:
        data = image.blocks[0].data

        def read(start: int, length: int) -> bytes | None:
            return data[start : start + length]

        return read
    return image.read


def _value(
    plan: FieldPlan, read: Callable[[int, int], bytes | None], copies: Sequence[int]
) -> FieldValue:
    place, field = plan.place, plan.field
    raw = read(place.at, place.length)
    value: str | None = None
    within: bool | None = None
    mark: str | None = "absent"
    low, high = plan.way.low_text, plan.way.high_text
    if raw is not None:
        shown = plan.show(raw)
        value, within, mark = shown
        if plan.low_from is not None or plan.high_from is not None:
            within, low, high = _by_other_fields(plan, raw, read)
            shown = Shown(value, within, mark)
        if raw == plan.blank and plan.way.is_blank(raw, shown):
            value, mark = (None if plan.way.is_text else value), "blank"
        if copies:
            mark = _vote(plan, raw, read, copies) or mark
    return FieldValue(
        plan.name,
        place.at,
        place.length,
        raw,
        raw if raw is None or place.bit is None else _only_bits(plan, raw),
        value,
        field.unit,
        within,
        low,
        high,
        mark,
        field.note,
        field.expected_to_change,
        field.live,
        field.belongs_to_card,
        field.identifies_unit,
        place.bit,
        place.width,
        place.row,
    )


def _by_other_fields(
    plan: FieldPlan, raw: bytes, read: Callable[[int, int], bytes | None]
) -> tuple[bool | None, str | None, str | None]:
    """Return whether the value is inside limits that other fields hold, and those limits."""
    number = plan.way.number(raw)
    low, low_text = _limit_of(plan.low_from, plan.way.low, plan.way.low_text, read)
    high, high_text = _limit_of(plan.high_from, plan.way.high, plan.way.high_text, read)
    unknown = (plan.low_from and low is None) or (plan.high_from and high is None)
    if number is None or unknown:
        return None, low_text, high_text
    within = (low is None or low <= number) and (high is None or number <= high)
    return within, low_text, high_text


def _limit_of(
    other: FieldPlan | None,
    fixed: Fraction | None,
    fixed_text: str | None,
    read: Callable[[int, int], bytes | None],
) -> tuple[Fraction | None, str | None]:
    if other is None:
        return fixed, fixed_text
    raw = read(other.place.at, other.place.length)
    if raw is None or raw == other.blank:  # a blank limit is no limit, and not known
        return None, None
    number = other.way.number(raw)
    if number is None:
        return None, None
    shown: Shown = other.show(raw)
    return number, shown.value if other.way.meaning is None else exact(number)


def _vote(
    plan: FieldPlan, raw: bytes, read: Callable[[int, int], bytes | None], copies: Sequence[int]
) -> str | None:
    """Return which of the addresses that hold one value is off, None where all agree."""
    place = plan.place
    held: dict[bytes | None, list[int]] = {_only_bits(plan, raw): [place.at]}
    for at in copies:
        other = read(at, place.length)
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
    verdict = "most agree, the rest is off" if settled else "no vote settles it"
    return f"copies differ: {'; '.join(parts)} ({verdict})"


def _held(key: bytes | None, count: int) -> str:
    if key is None:
        return "absent"
    return f"{'hold' if count > 1 else 'holds'} {key.hex().upper()}"


def _only_bits(plan: FieldPlan, raw: bytes) -> bytes:
    """Return what the field's own bits hold, other bits of the bytes left out."""
    place = plan.place
    if place.bit is None or place.width is None:
        return raw
    mask = ((1 << place.width) - 1) << place.bit
    kept = int.from_bytes(raw, place.byte_order) & mask
    return kept.to_bytes(place.length, place.byte_order)
