"""The page of one copy: what it is, who read it, whether it is verified, what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import VaultDamaged
from parambak.reports import parts
from parambak.reports.html import render
from parambak.reports.parameters import parameters

if TYPE_CHECKING:
    from parambak.keeping.known import Copy, Position, Unit, Vessel
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.reports.parts import Desk, Difference


def copy_page(
    desk: Desk, vessel: Vessel, unit: Unit | None, position: Position, copy: Copy
) -> bytes:
    """Return the HTML page of a copy; raise VaultDamaged where its bytes cannot be had."""
    assessor = desk.assessor
    layout = assessor.layout_of(position)
    image = assessor.image(copy.image)
    verdict = assessor.verdict(position, copy)
    name = parts.copy_name(position, copy)
    before = next((c for c in position.copies if c.number == copy.number - 1), None)
    found = _difference(desk, layout, before, image)
    size = assessor.memory_size(position, layout)
    return render(
        "copy.html",
        {
            **desk.frame(f"Copy {name}", vessel),
            "verified": verdict.verified,
            "reconstructed": copy.reconstructed,
            "conditions": verdict.conditions,
            "identity": [*parts.identity(vessel, unit, position, layout), ("copy", name)],
            "reads": parts.reads(desk, copy.reads),
            "before": parts.copy_name(position, before) if before is not None else None,
            "difference": found,
            "said": parts.said(desk, vessel, position, before, copy) if before is not None else [],
            "parameters": parameters(assessor.decoded(position, copy)),
            "map": parts.drawn(image, size, layout, found.ranges if found is not None else ()),
            "sums": parts.sums(copy, image),
        },
    )


def _difference(
    desk: Desk, layout: Layout | None, before: Copy | None, image: Image
) -> Difference | None:
    """Return how the copy differs from the one before it; None where that cannot be had."""
    if before is None:
        return None
    try:
        return parts.difference(layout, desk.assessor.image(before.image), image)
    except VaultDamaged:
        return None
