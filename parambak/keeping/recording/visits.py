"""Visits: one attendance aboard, and what an open one remembers."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.recording.identities import new_identity
from parambak.keeping.recording.target import new_vessel
from parambak.keeping.state import select
from parambak.keeping.state.bodies import VisitClosedBody, VisitOpenedBody
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.known import Fleet
from parambak.keeping.state.texts import NAME, REMARK, check_date, check_texts

if TYPE_CHECKING:
    from parambak.keeping.state.known import Vessel, Visit
    from parambak.vault.vault import Vault

VISIT_OPEN = Fault(
    "visit-open-already",
    CallRefused,
    "a visit to {vessel} is open already",
    "Close it with `parambak visit close`, or go on with it.",
)
VISIT_NONE = Fault(
    "visit-none-open",
    NotFound,
    "no visit is open from this laptop",
    "Open one with `parambak visit open VESSEL --by NAME`.",
)
VISIT_SEVERAL = Fault(
    "visit-several-open",
    CallRefused,
    "more than one visit is open from this laptop",
    "Name the vessel.",
)


def open_visits(known: Fleet, writer: str) -> list[tuple[str, Visit]]:
    """Return the visits that this writer has open, each with its vessel's handle."""
    return [
        (vessel.handle, visit)
        for vessel in known.vessels
        for visit in vessel.visits
        if visit.writer == writer and visit.closed is None
    ]


def the_open_visit(known: Fleet, writer: str, vessel: str | None) -> tuple[str, Visit] | None:
    """Return the visit that a command without further words belongs to, or None.

    Raise CallRefused where several are open and no vessel is named.
    """
    found = open_visits(known, writer)
    if vessel is not None:
        named = {v.handle for v in select.vessels_named(known, vessel)}
        found = [each for each in found if each[0] in named]
    if len(found) > 1:
        raise VISIT_SEVERAL.error(
            expected="one open visit", found=", ".join(handle for handle, _ in found)
        )
    return found[0] if found else None


def open_visit(  # noqa: PLR0913 - what a visit remembers, all by keyword
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
        new_vessel(Fleet(()), vessel, confirmed=confirmed)
    with vault.writing() as writing:
        known = fleet(vault)
        identity, handle, new = new_vessel(known, vessel, confirmed=confirmed)
        if the_open_visit(known, vault.writer, vessel) is not None:
            raise VISIT_OPEN.error(vessel=handle, expected="no open visit", found=handle)
        mark = writing.person(by, identity) if by else None
        body = VisitOpenedBody(visit=new_identity(), on=on, new=new, reader=reader)
        relies_on = [mark] if mark else []
        writing.add("visit-opened", identity, body.members(), by=mark, relies_on=relies_on)
    return handle, bool(new)


class Attendance(NamedTuple):
    """What was done in a visit: reads by position, and what has a copy and was not read.

    `measured` is how many rounds of measurements it had; `changed` are the positions whose
    bytes were not those of the copy before.
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
        mine = [read for read in position.reads if read.visit == visit.id]
        if mine:
            reads[position.where] = len(mine)
            first = min(read.order for read in mine)
            before = [read for read in position.reads if read.order < first]
            if before and before[-1].image not in {read.image for read in mine}:
                changed.append(position.where)
        elif position.copies:
            missed.append(position.where)
    measured = [
        stored
        for identity in sorted(ship.ids)
        for stored in vault.of_kind(identity, "measured")
        if stored.record.body.get("visit") == visit.id
    ]
    return Attendance(reads, tuple(missed), tuple(changed), len(measured))


def close_visit(
    vault: Vault, *, vessel: str | None, remark: str | None
) -> tuple[str, Visit, Attendance]:
    """Put the closing on record; return the vessel's handle, the visit, and what was done."""
    check_texts([("remark", remark, REMARK)])
    with vault.writing() as writing:
        known = fleet(vault)
        found = the_open_visit(known, vault.writer, vessel)
        if found is None:
            raise VISIT_NONE.error(expected="an open visit", found="none")
        handle, visit = found
        body = VisitClosedBody(visit=visit.id, remark=remark)
        # A name that was lost meanwhile does not keep the visit open.
        by = visit.by if visit.by and vault.has_object(visit.by) else None
        writing.add("visit-closed", visit.vessel, body.members(), by=by)
    ship = select.find_vessel(known, handle)
    return handle, visit, attendance(vault, ship, visit)
