"""The page of a visit: differences first, what was read, measured, remarked, and was not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import VaultDamaged
from parambak.keeping import select
from parambak.reports import parts
from parambak.reports.html import render
from parambak.swap import measured

if TYPE_CHECKING:
    from parambak.keeping.known import Copy, Position, Vessel, Visit
    from parambak.reports.parts import Desk


def visit_page(desk: Desk, vessel: Vessel, visit: Visit) -> bytes:
    """Return the HTML page of one visit."""
    touched = [(each, _reads(each, visit)) for each in vessel.positions]
    read = [(each, given) for each, given in touched if given]
    missed = [each.where for each, given in touched if not given and each.copies]
    closed = f", closed {visit.closed}" if visit.closed else ", still open"
    return render(
        "visit.html",
        {
            **desk.frame(f"Visit to {vessel.handle} of {visit.on}", vessel),
            "state": f"{visit.on}, by {desk.person(visit.by)}{closed}",
            "reader": visit.reader,
            "remark": visit.remark,
            "positions": [_position(desk, each, given) for each, given in read],
            "missed": missed,
            "measurements": _measurements(desk, vessel, visit),
        },
    )


def _reads(position: Position, visit: Visit) -> list[Any]:
    return [read for read in position.reads if read.visit == visit.id]


def _position(desk: Desk, position: Position, given: list[Any]) -> dict[str, Any]:
    """Return what is printed of one position that was read."""
    images = {read.image for read in given}
    copy = next(c for c in reversed(position.copies) if c.image in images)
    verdict = desk.assessor.verdict(position, copy)
    before = _before(position, given)
    return {
        "where": position.where,
        "copy": select.copy_name(position, copy),
        "verified": verdict.verified,
        "unmet": [each for each in verdict.conditions if not each.met],
        "reads": parts.reads(desk, given),
        "before": select.copy_name(position, before) if before else None,
        **_difference(desk, position, before, copy),
    }


def _before(position: Position, given: list[Any]) -> Copy | None:
    """Return the copy that stood before this visit; None where there was none."""
    first = min(read.order for read in given)
    earlier = [c for c in position.copies if any(r.order < first for r in c.reads)]
    return max(
        earlier,
        key=lambda c: max((r.read_on, r.order) for r in c.reads if r.order < first),
        default=None,
    )


def _difference(desk: Desk, position: Position, before: Copy | None, copy: Copy) -> dict[str, Any]:
    assessor = desk.assessor
    layout = assessor.layout_of(position)
    try:
        image = assessor.image(copy.image)
        old = assessor.image(before.image) if before is not None else None
    except VaultDamaged:
        return {"difference": None, "map": None}
    found = parts.difference(layout, old, image) if old is not None else None
    size = assessor.memory_size(position, layout)
    changed = found.ranges if found is not None else ()
    return {"difference": found, "map": parts.drawn(image, size, layout, changed)}


def _measurements(desk: Desk, vessel: Vessel, visit: Visit) -> list[dict[str, Any]]:
    """Return what was measured in the visit, each round under the name of its unit."""
    rounds = []
    for unit in vessel.units:
        places = [(unit.where, unit.ids), *((p.where, p.ids) for p in unit.positions)]
        for where, ids in places:
            every = measured.on_record(desk.assessor.vault, vessel, ids)
            mine = [each for each in every if each.visit == visit.id]
            rounds += [{**each, "where": where} for each in parts.measurements(desk, mine)]
    return rounds
