"""Builds the memory of an invented controller from values, by its layout.

Only the demo makes memories: no command of the program alters a parameter.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from parambak.layouts.check_methods import compute, stored_length
from parambak.layouts.coverage import masks_of
from parambak.layouts.plan import plan_of
from parambak.layouts.slots import slots

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.layouts.model import Layout
    from parambak.layouts.plan import FieldPlan
    from parambak.layouts.slots import Slot


def memory_of(layout: Layout, values: Mapping[str, str]) -> bytearray:
    """Return the memory in which the named fields have these values, all checks holding.

    What is not named is blank. Raise ValueError for a name or value that cannot be.
    """
    memory = bytearray([layout.blank]) * layout.memory
    plans = {plan.name: plan for plan in plan_of(layout).fields}
    unknown = values.keys() - plans.keys()
    if unknown:
        raise ValueError(f"the layout has no {', '.join(sorted(unknown))}")
    for slot in slots(layout):
        if slot.kind == "field" and slot.name in values:
            _put(memory, slot, _stored(plans[slot.name], values[slot.name]))
    settle(layout, memory)
    return memory


def settle(layout: Layout, memory: bytearray) -> None:
    """Make every check of the memory hold, and every duplicate equal its block."""
    for check in layout.checks:
        order = check.byte_order or layout.byte_order
        data = b"".join(bytes(memory[first : last + 1]) for first, last in check.over)
        value = compute(check, data, order).to_bytes(stored_length(check), order)
        memory[check.at : check.at + len(value)] = value
    for block in layout.mirrored:
        kept = memory[block.at : block.at + block.length]
        memory[block.mirror_at : block.mirror_at + block.length] = kept


def _stored(plan: FieldPlan, value: str) -> bytes:
    """Return the stored bytes of a value that is shown."""
    stored = plan.reader.codec.write(_raw(plan, value))
    if stored is None:
        raise ValueError(f"{plan.name} cannot hold {value}")
    return stored


def _raw(plan: FieldPlan, value: str) -> int | Fraction | str:
    for number, name in (plan.reader.value_names or {}).items():
        if name == value:
            return number
    if not plan.field.type.is_number:
        return value
    exact = Fraction(value)
    if plan.reader.scaling is not None:
        raw = plan.reader.scaling.raw(exact)
        if raw is None:
            raise ValueError(f"{plan.name} cannot be {value}")
        exact = raw if plan.field.type.is_float else Fraction(round(raw))
    return int(exact) if exact.denominator == 1 else exact


def _put(memory: bytearray, slot: Slot, stored: bytes) -> None:
    for offset, byte in enumerate(stored):
        mask = masks_of(slot).get(slot.at + offset, 0)
        kept = memory[slot.at + offset] & ~mask & 0xFF
        memory[slot.at + offset] = kept | (byte & mask)
