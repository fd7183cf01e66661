"""Whether a dump is of the unit named: by the fields that the layout says tell the unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault

if TYPE_CHECKING:
    from parambak.layouts.decode import FieldValue
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image

OTHER_UNIT = Fault(
    "position-other-unit",
    CallRefused,
    "the field {name}, which tells the unit, is not that of the latest copy",
    "Make sure which unit was read. If it is right as typed, give --position-confirmed.",
)


def refuse_other_unit(layout: Layout, image: Image, own: Image) -> None:
    """Raise where a field that identifies the unit reads otherwise than in the latest copy.

    What the latest copy lacks is not compared.
    """
    from parambak.layouts import coverage  # noqa: PLC0415 - slow to import, layouts only
    from parambak.layouts.decode import decode  # noqa: PLC0415 - the same

    places = coverage.ranges_of(layout, "identifies-unit")
    if all(own.read(*place) in {None, image.read(*place)} for place in places):
        return
    read = {each.field: each for each in decode(layout, image).fields}
    for before in decode(layout, own).fields:
        now = read[before.field]
        if before.identifies_unit and before.own not in {None, now.own}:
            expected, found = _shown(before), _shown(now)
            if expected == found:  # other bytes of one value, such as another padding
                expected, found = _bytes(before), _bytes(now)
            raise OTHER_UNIT.error(
                name=before.field, offset=before.at, expected=expected, found=found
            )


def _shown(value: FieldValue) -> str:
    """Return text in quotes, a number as a person knows it, and else the bytes."""
    kind = value.plan.field.type.kind
    if value.value is None or value.mark or kind == "bytes":
        return _bytes(value)
    if kind == "text":
        return f'"{value.value}"'
    return f"{value.value} {value.unit}" if value.unit else value.value


def _bytes(value: FieldValue) -> str:
    return "no bytes there" if value.raw is None else value.raw.hex(" ").upper()
