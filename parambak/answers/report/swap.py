"""The page of one swap at a position, whether it is over or not."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from msgspec import Meta

from parambak.answers.report.pages import PageQuestion, PageWritten, desk_of, write_page
from parambak.errors import Fault, NotFound
from parambak.keeping.state import select

if TYPE_CHECKING:
    from parambak.answers.session import Session

NO_SWAP = Fault(
    "report-no-swap",
    NotFound,
    "no such swap is on record at {where}",
    "Open one with `parambak swap open {where}`, or leave --number out.",
)


class ReportSwapQuestion(PageQuestion["ReportSwapAnswer"], frozen=True, kw_only=True):
    """The position, which swap there counted from 1 (None for the last), and the file to write."""

    where: str
    number: Annotated[int, Meta(ge=1)] | None = None


class ReportSwapAnswer(PageWritten, frozen=True):
    """The page's file, the SHA-256 of its bytes, and how many they are."""


def answer(session: Session, question: ReportSwapQuestion) -> ReportSwapAnswer:
    """Write the page; raise NotFound, CallRefused or what a file is refused for."""
    from parambak.reports.swap_page import swap_page  # noqa: PLC0415 - templates are slow to import
    from parambak.swap.swaps import swaps_at  # noqa: PLC0415 - for this page only

    desk = desk_of(session)
    position = select.find_position(desk.fleet, question.where)
    vessel = select.vessel_at(desk.fleet, question.where)
    swaps = swaps_at(session.vault, vessel, position)
    if not swaps or (question.number or 1) > len(swaps):
        raise NO_SWAP.error(
            where=position.where, expected="a swap", found=f"{len(swaps)} on record"
        )
    swap = swaps[(question.number or len(swaps)) - 1]
    return write_page(ReportSwapAnswer, session, swap_page(desk, position.where, swap), question)
