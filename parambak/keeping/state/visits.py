"""Visits by their records: which are open, and what was done in one."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.state import bodies, select
from parambak.keeping.state.counting import counting_of_kind
from parambak.keeping.state.model import Fleet, Visit
from parambak.keeping.state.record_sets import local_time

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.keeping.state.model import Vessel
    from parambak.vault.vault import Stored, Vault

VISIT_SEVERAL = Fault(
    "visit-several-open",
    CallRefused,
    "more than one visit is open from this laptop",
    "Name the vessel, as in `visit close VESSEL`, or with --vessel.",
)


def visits_of(
    identity: str, opened: Iterable[Stored], closed: Iterable[Stored]
) -> tuple[Visit, ...]:
    """Return the visits to a vessel, in the order of the clocks at their opening.

    A visit is closed once a record closes it, in any order of the records: only a laptop that
    has the visit can close it. Of two records that open or close one visit the earlier counts.
    """
    ends: dict[str, tuple[str, str | None]] = {}
    for stored in sorted(closed, key=_clock):
        body = bodies.sound(stored, bodies.VisitClosedBody)
        if body is not None:
            day = local_time(stored.record).date().isoformat()
            ends.setdefault(body.visit, (day, body.remark))
    visits: dict[str, Visit] = {}
    for stored in sorted(opened, key=_clock):
        opening = bodies.sound(stored, bodies.VisitOpenedBody)
        if opening is not None and opening.visit not in visits:
            record = stored.record
            end, remark = ends.get(opening.visit, (None, None))
            visits[opening.visit] = Visit(
                opening.visit,
                identity,
                opening.on,
                record.by,
                opening.reader,
                record.writer,
                end,
                remark,
            )
    return tuple(visits.values())


def _clock(stored: Stored) -> tuple[str, str]:
    return stored.record.clock.utc, stored.digest


def open_visits(fleet: Fleet, writer: str) -> list[tuple[str, Visit]]:
    """Return the visits that this writer has open, each with its vessel's handle."""
    return [
        (vessel.handle, visit)
        for vessel in fleet.vessels
        for visit in vessel.visits
        if visit.writer == writer and visit.closed is None
    ]


def the_open_visit(fleet: Fleet, writer: str, vessel: str | None) -> tuple[str, Visit] | None:
    """Return the visit that a command without a vessel or of this vessel belongs to, or None.

    Raise CallRefused if several are open and no vessel is named.
    """
    visits = open_visits(fleet, writer)
    if vessel is not None:
        named = {v.handle for v in select.vessels_named(fleet, vessel)}
        visits = [(handle, visit) for handle, visit in visits if handle in named]
    if len(visits) > 1:
        raise VISIT_SEVERAL.error(
            expected="one open visit", found=", ".join(handle for handle, _ in visits)
        )
    return visits[0] if visits else None


class Attendance(NamedTuple):
    """What was done in a visit: reads by position, and positions with a copy that were not read.

    `measured` counts the rounds of measurements; `changed` are the positions with other bytes
    than in the copy before.
    """

    reads: dict[str, int]
    missed: tuple[str, ...]
    changed: tuple[str, ...]
    measured: int

    @property
    def once(self) -> tuple[str, ...]:
        """Return the positions that were read only once in this visit."""
        return tuple(where for where, count in self.reads.items() if count == 1)


def attendance(vault: Vault, ship: Vessel, visit: Visit) -> Attendance:
    """Return what was done in a visit to a ship, by the records."""
    reads: dict[str, int] = {}
    missed, changed = [], []
    for position in ship.positions:
        of_visit = [read for read in position.reads if read.visit == visit.id]
        if of_visit:
            reads[position.where] = len(of_visit)
            first = min(read.order for read in of_visit)
            before = [read for read in position.reads if read.order < first]
            if before and before[-1].image not in {read.image for read in of_visit}:
                changed.append(position.where)
        elif position.copies:
            missed.append(position.where)
    measured = [
        stored
        for identity in sorted(ship.ids)
        for stored in counting_of_kind(vault, identity, bodies.MeasuredBody.kind)
        if stored.record.body.get("visit") == visit.id
    ]
    return Attendance(reads, tuple(missed), tuple(changed), len(measured))
