"""The page of one copy: what it is, who read it, whether it is verified, what it holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.differences.fields import value_text
from parambak.differences.small_line import small_line
from parambak.errors import VaultDamaged
from parambak.keeping.state.remarks import remarks_on_record
from parambak.keeping.verified import WHY, headline
from parambak.layouts.decode import decode
from parambak.reports import over_visits, parts
from parambak.reports.html import render
from parambak.reports.parameters import parameters

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Copy, Position, Unit, Vessel
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.reports.parts import Desk, Difference

MOST_CHARACTERS = 24  # of a small line
MOST_LINES = 200


def copy_page(
    desk: Desk, vessel: Vessel, unit: Unit | None, position: Position, copy: Copy
) -> bytes:
    """Return the HTML page of a copy; raise VaultDamaged if its bytes cannot be read."""
    assessor = desk.assessor
    layout = assessor.layout_of(position)
    image = assessor.image(copy.image)
    verdict = assessor.verdict(position, copy)
    name = parts.copy_name(position, copy)
    before = next((c for c in position.copies if c.number == copy.number - 1), None)
    difference = _difference(desk, layout, before, image)
    changed = difference.ranges if difference is not None else ()
    size = assessor.memory_size(position, layout)
    return render(
        "copy.html",
        {
            **desk.frame(f"Copy {name}", vessel),
            "verified": verdict.verified,
            "headline": headline(verdict),
            "why": WHY.get(verdict.state),
            "conditions": verdict.conditions,
            "identity": [*parts.identity(vessel, unit, position, layout), ("copy", name)],
            "reads": parts.reads(desk, copy.reads),
            "before": parts.copy_name(position, before) if before is not None else None,
            "difference": difference,
            "remarks": _remarks(desk, vessel, position, before, copy),
            "parameters": parameters(assessor.decoded(position, copy)),
            "map": parts.drawn(image, size, layout, changed),
            "years": _years(desk, position, size or image.end, layout),
            "sums": parts.sums(copy, image),
        },
    )


def _remarks(
    desk: Desk, vessel: Vessel, position: Position, before: Copy | None, copy: Copy
) -> list[dict[str, str]]:
    if before is None:
        return []
    aboard = remarks_on_record(desk.assessor.vault, vessel)
    return parts.remarks_on(desk, aboard, position, before, copy)


def _years(
    desk: Desk, position: Position, size: int, layout: Layout | None
) -> dict[str, Any] | None:
    """Return the memory over all reads, and the line of each parameter that ever changed.

    None if it never changed; lost images are left out.
    """
    images: list[tuple[str, Image]] = []
    for read in position.reads:
        try:
            image = desk.assessor.image(read.image)
        except VaultDamaged:
            continue
        if not images or images[-1][1] != image:
            images.append((read.read_on.isoformat(), image))
    if len(images) < 2:
        return None
    grid = over_visits.grid(max(size, *(image.end for _, image in images)), images)
    return {
        "svg": over_visits.draw(grid),
        "bytes_a_cell": grid.bytes_a_cell,
        "left_out": len(images) - len(grid.visits),
        "lines": _lines(layout, [image for _, image in images]),
    }


def _lines(layout: Layout | None, images: Sequence[Image]) -> list[tuple[str, str, str]]:
    """Return name, first and last value, and the small line of each parameter that changed."""
    if layout is None or any(image.end > layout.memory for image in images):
        return []
    decoded = [decode(layout, image).fields for image in images]
    lines = []
    for values in zip(*decoded, strict=True):
        texts = [value_text(value) for value in values]
        if len(set(texts)) > 1:
            unit = f" {values[0].unit}" if values[0].unit else ""
            line = small_line(texts, MOST_CHARACTERS)
            lines.append((values[0].field, f"{texts[0]} to {texts[-1]}{unit}", line))
    return lines[:MOST_LINES]


def _difference(
    desk: Desk, layout: Layout | None, before: Copy | None, image: Image
) -> Difference | None:
    """Return how the copy differs from the one before it; None if its bytes cannot be read."""
    if before is None:
        return None
    try:
        return parts.difference(layout, desk.assessor.image(before.image), image)
    except VaultDamaged:
        return None
