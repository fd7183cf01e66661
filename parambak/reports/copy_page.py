"""The page of one copy: what it is, who read it, whether it is verified, what it says."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.reports import parts
from parambak.reports.html import render

if TYPE_CHECKING:
    from parambak.keeping.known import Copy, Position, Unit, Vessel
    from parambak.reports.parts import Desk


def copy_page(
    desk: Desk, vessel: Vessel, unit: Unit | None, position: Position, copy: Copy
) -> bytes:
    """Return the HTML page of a copy; raise VaultDamaged where its bytes cannot be had."""
    assessor = desk.assessor
    layout = assessor.layout_of(position)
    image = assessor.image(copy.image)
    verdict = assessor.verdict(position, copy)
    decoded = assessor.decoded(position, copy)
    name = parts.copy_name(position, copy)
    return render(
        "copy.html",
        {
            **desk.frame(f"Copy {name}", vessel),
            "verified": verdict.verified,
            "reconstructed": copy.reconstructed,
            "conditions": verdict.conditions,
            "identity": [*parts.identity(vessel, unit, position, layout), ("copy", name)],
            "sums": parts.sums(copy, image),
            "reads": parts.reads(desk, copy.reads),
            "parameters": parts.parameters(decoded),
            "checks": decoded.checks if decoded is not None else (),
            "map": parts.drawn(image, assessor.memory_size(position, layout), layout),
        },
    )
