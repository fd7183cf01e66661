"""Visits by their records: which are open, and what was done in one."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.state import bodies, select
from parambak.keeping.state.counting import counting_of_kind
from parambak.keeping.state.model import Fleet, Visit
from parambak.keeping.state.record_sets import local_time

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.keeping.state.model import Position, Vessel
    from parambak.vault.records import Record
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

    A visit is closed once a record closes it, in any order of the records: a laptop that closes
    it has it. Of two records that open or close one visit the earlier counts.
    """
    ends: dict[str, tuple[_Moment, str | None]] = {}
    for stored in sorted(closed, key=_clock):
        body = bodies.sound(stored, bodies.VisitClosedBody)
        end = _moment(stored.record, body.on, body.at, time(23, 59, 59)) if body else None
        if body is not None and end is not None:
            ends.setdefault(body.visit, (end, body.remark))
    visits: dict[str, Visit] = {}
    for stored in sorted(opened, key=_clock):
        opening = bodies.sound(stored, bodies.VisitOpenedBody)
        begin = _moment(stored.record, opening.on, opening.at, time()) if opening else None
        if opening is not None and begin is not None and opening.visit not in visits:
            record = stored.record
            end, remark = ends.get(opening.visit, (None, None))
            visits[opening.visit] = Visit(
                id=opening.visit,
                vessel=identity,
                on=begin.day,
                by=record.by,
                reader=opening.reader,
                writer=record.writer,
                begun=begin.at,
                at=begin.hour,
                afterwards=begin.at.date() < local_time(record).date(),
                closed=end.day if end else None,
                closed_at=end.hour if end else None,
                ended=end.at if end else None,
                remark=remark,
            )
    return tuple(visits.values())


class _Moment(NamedTuple):
    """A day and, if it is recorded, the hour, as texts; and the moment that stands for both."""

    day: str
    hour: str | None
    at: datetime


def _moment(record: Record, day: str | None, hour: str | None, otherwise: time) -> _Moment | None:
    """Return a stated day and hour, else those of the clock on that day; None if it is no day.

    Without an hour the moment has the hour `otherwise`.
    """
    clock = local_time(record)
    try:
        on = date.fromisoformat(day) if day else clock.date()
        stated = time.fromisoformat(hour).replace(tzinfo=None) if hour else None
    except ValueError:
        return None  # another shape
    if stated is None and on == clock.date():
        stated = clock.time().replace(second=0)
    return _Moment(
        on.isoformat(),
        stated.isoformat("minutes") if stated is not None else None,
        datetime.combine(on, stated or otherwise, clock.tzinfo),
    )


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

    Of several to one vessel, as a merge of two copies of a vault gives, it is the one opened
    last. Raise CallRefused if visits to several vessels are open and none is named.
    """
    visits = open_visits(fleet, writer)
    if vessel is not None:
        named = {v.handle for v in select.vessels_named(fleet, vessel)}
        visits = [(handle, visit) for handle, visit in visits if handle in named]
    handles = dict.fromkeys(handle for handle, _ in visits)
    if len(handles) > 1:
        raise VISIT_SEVERAL.error(expected="one open visit", found=", ".join(handles))
    return max(visits, key=lambda one: (one[1].begun, one[1].id), default=None)


def also_open(fleet: Fleet, writer: str, vessel: str, visit: Visit) -> tuple[str, ...]:
    """Return a note for each further visit to a vessel that this writer has open."""
    return tuple(
        f"a further visit to {handle}, of {other.on}, is open: `parambak visit close {handle}` "
        "closes them one by one, the last one first"
        for handle, other in open_visits(fleet, writer)
        if handle == vessel and other.id != visit.id
    )


def open_of_others(fleet: Fleet, vessel: str) -> tuple[str, Visit] | None:
    """Return the visit to a vessel opened last, of any writer, that is still open; or None."""
    visits = [
        (ship.handle, visit)
        for ship in select.vessels_named(fleet, vessel)
        for visit in ship.visits
        if visit.closed is None
    ]
    return max(visits, key=lambda one: (one[1].begun, one[1].id), default=None)


def aboard_in(visit: Visit, position: Position) -> bool:
    """Return whether a position was on record, by its first read, before the visit ended."""
    first = min((read.read_on for read in position.reads), default=None)
    return first is not None and (visit.ended is None or first <= visit.ended.date())


def while_open(visit: Visit, begun: datetime, ended: datetime | None) -> bool:
    """Return whether a visit and what was begun and ended at these moments overlap."""
    return (visit.ended is None or begun <= visit.ended) and (ended is None or ended >= visit.begun)


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
        elif aboard_in(visit, position):
            missed.append(position.where)
    measured = [
        stored
        for identity in sorted(ship.ids)
        for stored in counting_of_kind(vault, identity, bodies.MeasuredBody.kind)
        if stored.record.body.get("visit") == visit.id
    ]
    return Attendance(reads, tuple(missed), tuple(changed), len(measured))
