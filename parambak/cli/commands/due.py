"""`due`: what is to be read again, or sent to a second place, the most urgent first."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import SheetRefused, VaultDamaged
from parambak.keeping.assess import Assessor
from parambak.keeping.due import (
    NOT_VERIFIED,
    ONE_PLACE,
    ONE_READ,
    TOO_OLD,
    Due,
    PositionStatus,
    due_of,
    most_urgent_first,
)
from parambak.keeping.state import select
from parambak.keeping.state.backups import Holdings
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.rules import CAREFUL
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.cli.screen import Screen
    from parambak.keeping.state.model import Fleet, Position
    from parambak.keeping.state.rules import Rules

NEXT = {
    NOT_VERIFIED: "see to what is named there; `parambak report copy {where}` has all of it.",
    ONE_READ: "read the chip again, and `parambak archive` that.",
    TOO_OLD: "read the chip twice, and `parambak archive` both.",
    ONE_PLACE: "`parambak place send PLACE`; `place list` tells the places, `place add` adds one.",
}


@parambak_command("due", example="parambak due grebe --ahead 90 --calendar due.ics")
@click.argument("where", metavar="[WHERE]", required=False)
@click.option(
    "--ahead",
    type=click.IntRange(0, 3660),
    default=0,
    metavar="DAYS",
    help="And what comes due in so many days.",
)
@click.option("--calendar", metavar="FILE", help="Write all of it as a calendar (iCalendar).")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
@pass_settings
def command(
    settings: Settings,
    /,
    *,
    where: str | None,
    ahead: int,
    calendar: str | None,
    replace: bool,
) -> Answer:
    """List the positions at WHERE that are due, the most urgent first, and why.

    Due is what is not verified, what was read only once, a verified copy older than the
    ship's rules allow, and what no other place was shown to hold.
    """
    vault = store.open_vault(settings)
    known = fleet(vault)
    now = settings.clock()
    today = now.date()
    with Progress(quiet=settings.json, doing="judging") as progress:
        assessor = Assessor(vault, store.chip_table())
        every, total = _everything_due(known, assessor, where, progress)
    ordered = most_urgent_first(every, today)
    if calendar is not None:
        _write(calendar, ordered, now, vault.root, replace=replace)
    listed = [each for each in ordered if each.on <= today + timedelta(days=ahead)]
    return Answer(
        {"due": [_document(each, today) for each in listed], "positions": total},
        lambda screen: _page(screen, listed, total, (today, ahead), calendar),
        warnings=store.warnings_of(vault),
    )


def _everything_due(
    known: Fleet,
    assessor: Assessor,
    where: str | None,
    progress: Callable[[int, int], None],
) -> tuple[list[Due], int]:
    """Return every position at a WHERE that is or comes due, and how many were looked at.

    Of a whole fleet one vessel is held at a time.
    """
    vessels = known.vessels if where is None else (select.vessel_at(known, where),)
    holdings = Holdings(assessor.vault)
    found, total = [], 0
    for count, vessel in enumerate(vessels, start=1):
        positions = vessel.positions if where is None else select.find_positions(known, where)
        total += len(positions)
        for position in positions:
            if position.latest is not None:
                due = due_of(_known(assessor, holdings, position), _rules(assessor, position))
                if due is not None:
                    found.append(due)
        vessel.forget()
        progress(count, len(vessels))
    return found, total


def _rules(assessor: Assessor, position: Position) -> Rules:
    try:
        return assessor.rules(position)
    except (SheetRefused, VaultDamaged):
        return CAREFUL  # that they are lost is said by the condition `intact`


def _known(assessor: Assessor, holdings: Holdings, position: Position) -> PositionStatus:
    newest = position.copies[-1]
    verdict = assessor.verdict(position, newest)
    verified_on: date | None = newest.newest.read_on if verdict.verified else None
    if verified_on is None:
        for copy in reversed(position.copies[:-1]):
            if assessor.verdict(position, copy).verified:
                verified_on = copy.newest.read_on
                break
    return PositionStatus(
        where=position.where,
        id=position.id,
        newest_on=newest.newest.read_on,
        unmet=verdict.unmet,
        reads=len(position.reads),
        verified_on=verified_on,
        places=[held.name for held in holdings.of(newest) if held.hashed_on is not None],
    )


def _document(due: Due, today: date) -> dict[str, Any]:
    return {
        "where": due.where,
        "on": due.on.isoformat(),
        "overdue_days": max(0, (today - due.on).days),
        "reasons": [
            {"code": each.code, "on": each.on.isoformat(), "text": each.text}
            for each in due.reasons
        ],
    }


def _write(file: str, found: tuple[Due, ...], now: datetime, vault: Path, *, replace: bool) -> None:
    from parambak.reports.calendar import calendar  # noqa: PLC0415 - slow to import
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - for writing only
    from parambak.vault.files.given import refuse_within  # noqa: PLC0415 - for writing only

    refuse_within(file, vault)
    write_export(Path(file), calendar(found, now), replace=replace)


def _page(
    screen: Screen, listed: list[Due], total: int, days: tuple[date, int], calendar: str | None
) -> None:
    today, ahead = days
    if listed:
        rows = [row for each in listed for row in _rows(each, today, ahead)]
        screen.table(("where", "when", "why"), rows)
        screen.say()
    if calendar is not None:
        screen.say(f"Written as a calendar: {calendar}.")
    late = [each for each in listed if each.on <= today]
    if late:
        screen.mind(
            f"{counted(len(late), 'position')} of {total} due; the most urgent is {late[0].where}."
        )
        first = next(reason for reason in late[0].reasons if reason.on <= today)
        screen.say(f"Do next: {NEXT[first.code].format(where=late[0].where)}")
    else:
        screen.good(f"Nothing is due among {counted(total, 'position')}.")


def _rows(each: Due, today: date, ahead: int) -> list[tuple[str, str, str]]:
    """Return a line for each reason that was asked for: what is due before what comes due."""
    asked = [reason for reason in each.reasons if reason.on <= today + timedelta(days=ahead)]
    asked.sort(key=lambda reason: reason.on > today)
    return [
        (
            "" if number else each.where,
            "due" if reason.on <= today else f"from {reason.on}",
            reason.text,
        )
        for number, reason in enumerate(asked)
    ]
