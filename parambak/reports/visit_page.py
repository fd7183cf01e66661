"""The page of a visit: differences first, then what was read and measured, and what was not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from parambak.errors import VaultDamaged
from parambak.keeping.state import select
from parambak.keeping.state.remarks import remarks_on_record
from parambak.keeping.state.visits import aboard_in, while_open
from parambak.keeping.verified import headline
from parambak.reports import parts
from parambak.reports.html import render
from parambak.reports.parameters import parameters
from parambak.swap import measurement_records
from parambak.swap.swaps import fold_swaps, in_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Copy, Position, Read, Vessel, Visit
    from parambak.keeping.state.remarks import Remark
    from parambak.reports.parts import Desk


def visit_page(desk: Desk, vessel: Vessel, visit: Visit) -> bytes:
    """Return the HTML page of one visit."""
    reads = [(position, _reads(position, visit)) for position in vessel.positions]
    missed = [p.where for p, of_visit in reads if not of_visit and aboard_in(visit, p)]
    aboard = remarks_on_record(desk.assessor.vault, vessel)
    return render(
        "visit.html",
        {
            **desk.frame(f"Visit to {vessel.handle} of {visit.on}", vessel),
            "identity": _identity(desk, vessel, visit),
            "closed": visit.closed is not None,
            "remark": visit.remark,
            "positions": [
                _position(desk, aboard, position, of_visit)
                for position, of_visit in reads
                if of_visit
            ],
            "missed": missed,
            "measurements": _measurements(desk, vessel, visit),
            "swaps": _swaps(desk, vessel, visit),
        },
    )


def _identity(desk: Desk, vessel: Vessel, visit: Visit) -> list[parts.Fact]:
    return [
        *parts.ship(vessel),
        ("visit opened", f"{_moment(visit.on, visit.at)}, by {desk.person(visit.by)}"),
        ("visit closed", _moment(visit.closed, visit.closed_at) if visit.closed else "still open"),
        ("reader", visit.reader or "not recorded"),
    ]


def _moment(day: str, hour: str | None) -> str:
    return f"{day} {hour}" if hour is not None else day


def _reads(position: Position, visit: Visit) -> list[Read]:
    return [read for read in position.reads if read.visit == visit.id]


def _position(
    desk: Desk, aboard: Sequence[Remark], position: Position, given: list[Read]
) -> dict[str, Any]:
    """Return what is printed of one position that was read."""
    images = {read.image for read in given}
    copy = next(c for c in reversed(position.copies) if c.image in images)
    verdict = desk.assessor.verdict(position, copy)
    before = _before(position, given)
    return {
        "where": position.where,
        "now": select.copy_name(position, copy),
        "verified": verdict.verified,
        "headline": headline(verdict),
        "calm": verdict.verified and not verdict.fading,
        "conditions": verdict.conditions,
        "reads": parts.reads(desk, given),
        "before": select.copy_name(position, before) if before else None,
        "remarks": parts.remarks_on(desk, aboard, position, before, copy) if before else [],
        **_contents(desk, position, before, copy),
    }


def _before(position: Position, given: list[Read]) -> Copy | None:
    """Return the copy before this visit; None if there was none."""
    first = min(read.order for read in given)
    earlier = [c for c in position.copies if any(r.order < first for r in c.reads)]
    return max(
        earlier,
        key=lambda c: max((r.read_on, r.order) for r in c.reads if r.order < first),
        default=None,
    )


def _contents(desk: Desk, position: Position, before: Copy | None, copy: Copy) -> dict[str, Any]:
    """Return what the copy holds and how it differs; nothing if its bytes cannot be read."""
    assessor = desk.assessor
    layout = assessor.layout_of(position)
    try:
        image = assessor.image(copy.image)
        decoded = assessor.decoded(position, copy)
    except VaultDamaged:
        nothing = dict.fromkeys(("difference", "map", "parameters"))
        return {**nothing, "lost": True, "sums": [], "asks": False}
    try:
        old = assessor.image(before.image) if before is not None else None
    except VaultDamaged:
        old = None
    difference = parts.difference(layout, old, image) if old is not None else None
    size = assessor.memory_size(position, layout)
    changed = difference.ranges if difference is not None else ()
    return {
        "lost": False,
        "difference": difference,
        "asks": difference is not None and _asks(difference, bare=layout is None),
        "map": parts.drawn(image, size, layout, changed),
        "sums": parts.sums(copy, image),
        "parameters": parameters(decoded),
    }


def _asks(difference: parts.Difference, *, bare: bool) -> bool:
    """Return whether the change needs an explanation; without a layout, any change does."""
    if difference.same:
        return False
    needs_answer = any(not change.explained for change in difference.fields)
    return bare or needs_answer or bool(difference.unmapped) or difference.more_fields > 0


def _measurements(desk: Desk, vessel: Vessel, visit: Visit) -> list[dict[str, Any]]:
    """Return what was measured in the visit, each round under the name of its unit."""
    rows = []
    aboard = measurement_records.records_aboard(desk.assessor.vault, vessel)
    for unit in vessel.units:
        places = [(unit.where, unit.ids), *((p.where, p.ids) for p in unit.positions)]
        for where, ids in places:
            records = measurement_records.only_at(aboard, ids)
            shown = [record.record for record in records if record.visit == visit.id]
            rows += parts.rounds(desk, records, shown, where)
    return rows


def _swaps(desk: Desk, vessel: Vessel, visit: Visit) -> list[dict[str, Any]]:
    """Return the swaps that were open on a day of the visit."""
    rows = []
    records = in_order(desk.assessor.vault, vessel)
    for position in vessel.positions:
        for number, swap in enumerate(fold_swaps(records, position.ids), 1):
            if while_open(visit, swap.opened.at, swap.end.at if swap.end is not None else None):
                rows.append({"where": position.where, **parts.swap_entry(desk, number, swap)})
    return rows
