"""The page of one visit: differences first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.report.pages import PageQuestion, PageWritten, desk_of, write_page
from parambak.errors import Fault, NotFound
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.model import Vessel, Visit

NO_VISIT = Fault(
    "report-no-visit",
    NotFound,
    "no such visit to {vessel} is on record",
    "Name the first day of a visit with --on, or leave it out for the last one.",
)


class ReportVisitQuestion(PageQuestion["ReportVisitAnswer"], frozen=True, kw_only=True):
    """The vessel, the visit's first day (None for the last visit), and the file to write."""

    vessel: str
    on: str | None = None


class ReportVisitAnswer(PageWritten, frozen=True):
    """The page's file, the SHA-256 of its bytes, and how many they are."""


def answer(session: Session, question: ReportVisitQuestion) -> ReportVisitAnswer:
    """Write the page; raise NotFound, CallRefused or what a file is refused for."""
    from parambak.reports.visit_page import visit_page  # noqa: PLC0415 - templates, slow to import

    desk = desk_of(session)
    ship = select.find_vessel(desk.fleet, question.vessel)
    page = visit_page(desk, ship, _visit(ship, question.on))
    return write_page(ReportVisitAnswer, session, page, question)


def _visit(ship: Vessel, on: str | None) -> Visit:
    """Return the last visit, or the last that began on a day; of one day the one opened last."""
    visits = sorted((v for v in ship.visits if on in (None, v.on)), key=lambda visit: visit.on)
    if not visits:
        days = ", ".join(visit.on for visit in ship.visits[-5:])
        raise NO_VISIT.error(
            vessel=ship.handle, expected=days or "a visit on record", found=on or "none"
        )
    return visits[-1]
