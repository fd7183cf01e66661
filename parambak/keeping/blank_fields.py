"""A run of blank bytes where the layout has fields: what a contact lost for a stretch leaves.

Rows of a table may well be blank, since not every channel is used; single fields that stand
one after the other are hardly ever blank all together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.memory.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.layouts.model import Layout
    from parambak.layouts.slots import Slot
    from parambak.memory.image import Image

FEWEST_FIELDS = 3
FEWEST_BYTES = 16


def blank_runs(layout: Layout, image: Image) -> tuple[tuple[Finding, str], ...]:
    """Return each run of blank single fields, with its subject: its first and last field."""
    found = []
    for run in _runs(layout, image):
        if len(run) >= FEWEST_FIELDS and sum(slot.length for slot in run) >= FEWEST_BYTES:
            first, last = run[0], run[-1]
            text = (
                f"{len(run)} fields one after the other, {first.name} to {last.name} at "
                f"0x{first.at:04X}-0x{last.end - 1:04X}, are all {layout.blank:02X}: the contact "
                "was lost for a stretch, or this part was never set"
            )
            subject = f"{first.name} {last.name}"
            found.append((Finding("read-blank-fields", text, offset=first.at), subject))
    return tuple(found)


def _runs(layout: Layout, image: Image) -> Iterator[list[Slot]]:
    from parambak.layouts.slots import slots  # noqa: PLC0415 - slow to import, layouts only

    blank = bytes([layout.blank])
    run: list[Slot] = []
    for slot in slots(layout):
        if slot.kind != "field" or slot.prefix or slot.again:
            continue
        if image.read(slot.at, slot.length) == blank * slot.length:
            run.append(slot)
            continue
        yield run
        run = []
    yield run
