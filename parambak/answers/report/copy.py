"""The page of one copy: identity, reads, conditions, parameters, digests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.report.pages import PageQuestion, PageWritten, desk_of, write_page
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session


class ReportCopyQuestion(PageQuestion["ReportCopyAnswer"], frozen=True, kw_only=True):
    """The COPY, and the file to write."""

    copy: str


class ReportCopyAnswer(PageWritten, frozen=True):
    """The page's file, the SHA-256 of its bytes, and how many they are."""


def answer(session: Session, question: ReportCopyQuestion) -> ReportCopyAnswer:
    """Write the page; raise NotFound, CallRefused or what a file is refused for."""
    from parambak.reports.copy_page import copy_page  # noqa: PLC0415 - templates are slow to import

    desk = desk_of(session)
    position, copy = select.find_copy(desk.fleet, question.copy)
    vessel = select.vessel_at(desk.fleet, position.where)
    unit = next((unit for unit in vessel.units if position in unit.positions), None)
    page = copy_page(desk, vessel, unit, position, copy)
    return write_page(ReportCopyAnswer, session, page, question)
