"""What is to be read again, or sent to a second backup location, the most urgent first."""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

from msgspec import Meta

from parambak.answers.forms import Answer, Part, Question
from parambak.errors import SheetRefused, VaultDamaged
from parambak.keeping.due import Due, PositionStatus, Unfinished, due_of, most_urgent_first
from parambak.keeping.state import select
from parambak.keeping.state.backups import Holdings
from parambak.keeping.state.rules import CAREFUL
from parambak.keeping.verified import evidence_of, separate_reads
from parambak.swap.swaps import unfinished_swaps

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date, datetime

    from parambak.answers.session import Session
    from parambak.keeping.state.model import Position, Vessel
    from parambak.keeping.state.rules import Rules
    from parambak.swap.swaps import Swap


class DueQuestion(Question["DueAnswer"], frozen=True):
    """Which positions: WHERE or a part of it, None for all; `ahead` takes in so many days.

    `calendar` is a file to write all of it to, whatever `ahead` is; `replace` writes over one.
    """

    where: str | None = None
    ahead: Annotated[int, Meta(ge=0, le=3660)] = 0
    calendar: str | None = None
    replace: bool = False


class ReasonShown(Part, frozen=True):
    """A reason why a position is due, and from which day on."""

    code: str
    on: str
    text: str


class DueShown(Part, frozen=True):
    """A position that is due from a day on, with all its reasons, the most urgent first."""

    where: str
    on: str
    overdue_days: int
    reasons: tuple[ReasonShown, ...]


class DueAnswer(Answer, frozen=True):
    """What is due, the most urgent first, and how many positions were looked at."""

    due: tuple[DueShown, ...]
    positions: int


def answer(session: Session, question: DueQuestion) -> DueAnswer:
    """List what is due, and write the calendar; raise NotFound or what a file is refused for."""
    now = session.clock()
    today = now.date()
    due, total = _all_due(session, question.where)
    ordered = most_urgent_first(due, today)
    if question.calendar is not None:
        _write(session, question.calendar, ordered, now, replace=question.replace)
    last_day = today + timedelta(days=question.ahead)
    shown = tuple(_shown(position, today) for position in ordered if position.on <= last_day)
    return DueAnswer(due=shown, positions=total)


def _all_due(session: Session, where: str | None) -> tuple[list[Due], int]:
    """Return every position at a WHERE that is or comes due, and how many were looked at.

    Of a fleet one vessel is held at a time.
    """
    fleet = session.fleet()
    vessels = fleet.vessels if where is None else (select.vessel_at(fleet, where),)
    holdings = Holdings(session.vault)
    due: list[Due] = []
    total = 0
    with session.progress("checking") as progress:
        for count, vessel in enumerate(vessels, start=1):
            positions = vessel.positions if where is None else select.find_positions(fleet, where)
            total += len(positions)
            due += _due_among(session, holdings, vessel, positions)
            vessel.forget()
            progress(count, len(vessels))
    return due, total


def _due_among(
    session: Session, holdings: Holdings, vessel: Vessel, positions: Sequence[Position]
) -> list[Due]:
    unfinished = unfinished_swaps(session.vault, vessel)
    all_due = (
        due_of(
            _status(session, holdings, position)._replace(
                unfinished=_unfinished(session, position, unfinished)
            ),
            _rules(session, position),
        )
        for position in positions
        if position.latest is not None
    )
    return [due for due in all_due if due is not None]


def _unfinished(
    session: Session, position: Position, swaps: Mapping[str, Swap]
) -> Unfinished | None:
    """Return what is missing of the swap at a position that ended unfinished, if any."""
    swap = next((swaps[identity] for identity in position.ids if identity in swaps), None)
    if swap is None or swap.end is None:
        return None
    from parambak.swap.state import swap_state  # noqa: PLC0415 - for such a swap only

    missing = swap.end.missing
    with suppress(SheetRefused, VaultDamaged):  # as it was then, if it cannot be worked out now
        state = swap_state(
            session.fleet(), session.assessor, position.where, swap=swap, loaded=True
        )
        missing = state.readiness(closing=True).missing
    return Unfinished(swap.end.at.date(), missing, swap.end.words)


def _rules(session: Session, position: Position) -> Rules:
    try:
        return session.assessor.rules(position)
    except (SheetRefused, VaultDamaged):
        return CAREFUL  # the condition `unchanged-on-disk` shows that they are lost


def _status(session: Session, holdings: Holdings, position: Position) -> PositionStatus:
    newest = position.copies[-1]
    verdict = session.assessor.verdict(position, newest)
    verified_on: date | None = newest.newest.read_on if verdict.verified else None
    if verified_on is None:
        for copy in reversed(position.copies[:-1]):
            if session.assessor.verdict(position, copy).verified:
                verified_on = copy.newest.read_on
                break
    return PositionStatus(
        where=position.where,
        id=position.id,
        newest_on=newest.newest.read_on,
        unmet=verdict.unmet,
        reads=separate_reads(evidence_of(position.reads)),
        verified_on=verified_on,
        locations=[held.name for held in holdings.of(newest) if held.hashed_on is not None],
        fading=verdict.fading,
    )


def _shown(due: Due, today: date) -> DueShown:
    return DueShown(
        where=due.where,
        on=due.on.isoformat(),
        overdue_days=max(0, (today - due.on).days),
        reasons=tuple(
            ReasonShown(reason.code, reason.on.isoformat(), reason.text) for reason in due.reasons
        ),
    )


def _write(
    session: Session, file: str, due: Sequence[Due], now: datetime, *, replace: bool
) -> None:
    from parambak.reports.calendar import calendar  # noqa: PLC0415 - slow to import
    from parambak.vault.files.given import refuse_within, write_given  # noqa: PLC0415 - here only

    refuse_within(file, session.vault.root)
    write_given(file, calendar(due, now), replace=replace)
