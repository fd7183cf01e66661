"""Visits put on record: one attendance aboard, from its opening to its closing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.recording.filing import NewEntities, new_identity, recorded_or_new_vessel
from parambak.keeping.recording.texts import NAME, REMARK, check_date, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.bodies import VisitClosedBody, VisitOpenedBody
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Fleet
from parambak.keeping.state.visits import attendance, the_open_visit

if TYPE_CHECKING:
    from parambak.keeping.state.model import Visit
    from parambak.keeping.state.visits import Attendance
    from parambak.vault.vault import Vault

VISIT_OPEN = Fault(
    "visit-open-already",
    CallRefused,
    "a visit to {vessel} is open already",
    "Continue that visit, or close it with `parambak visit close`.",
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
    by: str | None,
    reader: str | None,
    confirmed: bool,
) -> tuple[str, bool]:
    """Put the opening on record; return the vessel's handle, and whether it is new."""
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
        body = VisitOpenedBody(visit=new_identity(), on=on, new=tuple(new.entities), reader=reader)
        relies_on = [mark] if mark else []
        writing.add(body.kind, identity, body.members(), by=mark, relies_on=relies_on)
    return handle, bool(new.entities)


def close_visit(
    vault: Vault, *, vessel: str | None, remark: str | None
) -> tuple[str, Visit, Attendance]:
    """Put the closing on record; return the vessel's handle, the visit, and what was done."""
    check_texts([("remark", remark, REMARK)])
    with vault.writing() as writing:
        ships = fleet(vault)
        open_one = the_open_visit(ships, vault.writer, vessel)
        if open_one is None:
            raise VISIT_NONE.error(expected="an open visit", found="none")
        handle, visit = open_one
        body = VisitClosedBody(visit=visit.id, remark=remark)
        # A name that was lost since then does not keep the visit open.
        by = visit.by if visit.by and vault.has_object(visit.by) else None
        writing.add(body.kind, visit.vessel, body.members(), by=by)
    ship = select.find_vessel(ships, handle)
    return handle, visit, attendance(vault, ship, visit)
