"""Visits put on record: one attendance aboard, from its opening to its closing."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.recording.filing import NewEntities, new_identity, recorded_or_new_vessel
from parambak.keeping.recording.texts import NAME, REMARK, check_date, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.bodies import VisitClosedBody, VisitOpenedBody
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Fleet
from parambak.keeping.state.visits import also_open, attendance, open_of_others, the_open_visit

if TYPE_CHECKING:
    from datetime import date

    from parambak.keeping.state.model import Visit
    from parambak.keeping.state.visits import Attendance
    from parambak.vault.vault import Vault

VISIT_OPEN = Fault(
    "visit-open-already",
    CallRefused,
    "a visit to {vessel} is open already",
    "Continue that visit, or close it with `parambak visit close`.",
)
VISIT_BACKWARDS = Fault(
    "visit-backwards",
    CallRefused,
    "the visit to {vessel} cannot end before it began",
    "Give the last day of the visit with --on.",
)
VISIT_NONE = Fault(
    "visit-none-open",
    NotFound,
    "no visit is open from this laptop",
    "Open one with `parambak visit open VESSEL --by NAME`.",
)


def open_visit(  # noqa: PLR0913 - the facts of a visit, all by keyword
    vault: Vault,
    *,
    vessel: str,
    on: str,
    at: str | None = None,
    by: str | None,
    reader: str | None,
    confirmed: bool,
) -> tuple[str, bool]:
    """Put the opening on record; return the vessel's handle, and whether it is new.

    `on` is its first day, `at` the hour if a person states it.
    """
    check_date(on)
    check_texts([("name of the person", by, NAME), ("reader", reader, NAME)])
    if vault.made:  # what is refused leaves no vault behind
        recorded_or_new_vessel(Fleet(()), vessel, NewEntities(), confirmed=confirmed)
    with vault.writing() as writing:
        ships = fleet(vault)
        new = NewEntities()
        _, identity, handle = recorded_or_new_vessel(ships, vessel, new, confirmed=confirmed)
        if the_open_visit(ships, vault.writer, vessel) is not None:
            raise VISIT_OPEN.error(vessel=handle, expected="no open visit", found=handle)
        mark = writing.person(by, identity) if by else None
        body = VisitOpenedBody(
            visit=new_identity(), on=on, at=at, new=tuple(new.entities), reader=reader
        )
        writing.add(body.kind, identity, body.members(), by=mark)
    return handle, bool(new.entities)


class ClosedVisit(NamedTuple):
    """A visit that is closed now: the vessel's handle, what was done in it, and notes."""

    vessel: str
    visit: Visit
    done: Attendance
    notes: tuple[str, ...]


def close_visit(  # noqa: PLR0913 - the facts of the end, all by keyword
    vault: Vault,
    *,
    vessel: str | None,
    remark: str | None,
    today: date,
    on: str | None = None,
    at: str | None = None,
    by: str | None = None,
) -> ClosedVisit:
    """Put the closing on record, of the visit that this laptop has open.

    Without one, it is the visit to the vessel named that any laptop has open: the one that opened
    it may be gone. Without `on` it ends today, or on its first day if it was entered afterwards.
    """
    check_texts([("remark", remark, REMARK), ("name of the person", by, NAME)])
    with vault.writing() as writing:
        ships = fleet(vault)
        handle, visit, notes = _to_close(ships, vault.writer, vessel)
        # A clock that was wrong at the opening does not keep the visit open either.
        day = on or max(visit.on, visit.day(today).isoformat())
        if (day, at or visit.at or "") < (visit.on, visit.at or ""):
            found = f"{day} {at or ''}".strip()
            expected = f"{visit.on} {visit.at or ''}".strip() + " or later"
            raise VISIT_BACKWARDS.error(vessel=handle, expected=expected, found=found)
        body = VisitClosedBody(visit=visit.id, on=on or _if_other(day, today), at=at, remark=remark)
        # A name that was lost since then does not keep the visit open.
        opened_by = visit.by if visit.by and vault.has_object(visit.by) else None
        mark = writing.person(by, visit.vessel) if by else opened_by
        writing.add(body.kind, visit.vessel, body.members(), by=mark)
    ships = fleet(vault)
    ship = select.find_vessel(ships, handle)
    closed = next(one for one in ship.visits if one.id == visit.id)
    notes += also_open(ships, vault.writer, handle, visit)
    return ClosedVisit(handle, closed, attendance(vault, ship, closed), notes)


def _if_other(day: str, today: date) -> str | None:
    return day if day != today.isoformat() else None


def _to_close(ships: Fleet, writer: str, vessel: str | None) -> tuple[str, Visit, tuple[str, ...]]:
    own = the_open_visit(ships, writer, vessel)
    if own is not None:
        return *own, ()
    other = open_of_others(ships, vessel) if vessel is not None else None
    if other is None:
        raise VISIT_NONE.error(expected="an open visit", found="none")
    handle, visit = other
    return handle, visit, (f"this visit to {handle} was opened on another laptop, on {visit.on}",)
