"""`due`: what is to be read again, or sent to a second backup location, the most urgent first."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import click

from parambak.answers.due import DueQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.due import NOT_VERIFIED, ONE_LOCATION, ONE_READ, TOO_OLD
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from datetime import date

    from parambak.answers.due import DueAnswer, DueShown
    from parambak.cli.screen import Screen

NEXT = {
    NOT_VERIFIED: "see to what is named there; `parambak report copy {where}` has all of it.",
    ONE_READ: "read the chip again, and `parambak archive` that.",
    TOO_OLD: "read the chip twice, and `parambak archive` both.",
    ONE_LOCATION: (
        "`parambak backup send LOCATION`; `backup list` shows the locations, `backup add` adds one."
    ),
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
    ship's rules allow, and what no other backup location was shown to hold.
    """
    question = DueQuestion(where=where, ahead=ahead, calendar=calendar, replace=replace)
    today = settings.clock().date()
    return settings.ask(answer, question, lambda screen, due: _page(screen, due, question, today))


def _page(screen: Screen, answered: DueAnswer, question: DueQuestion, today: date) -> None:
    last_day = (today + timedelta(days=question.ahead)).isoformat()
    if answered.due:
        rows = [row for due in answered.due for row in _rows(due, today.isoformat(), last_day)]
        screen.table(("where", "when", "why"), rows)
        screen.say()
    if question.calendar is not None:
        screen.say(f"Written as a calendar: {question.calendar}.")
    late = [due for due in answered.due if due.on <= today.isoformat()]
    if late:
        screen.mind(
            f"{counted(len(late), 'position')} of {answered.positions} due; the most urgent is "
            f"{late[0].where}."
        )
        first = next(reason for reason in late[0].reasons if reason.on <= today.isoformat())
        screen.say(f"Do next: {NEXT[first.code].format(where=late[0].where)}")
    else:
        screen.good(f"Nothing is due among {counted(answered.positions, 'position')}.")


def _rows(due: DueShown, today: str, last_day: str) -> list[tuple[str, str, str]]:
    """Return a line for each reason that was asked for: what is due before what comes due."""
    reasons = sorted(
        (reason for reason in due.reasons if reason.on <= last_day),
        key=lambda reason: reason.on > today,
    )
    return [
        (
            "" if number else due.where,
            "due" if reason.on <= today else f"from {reason.on}",
            reason.text,
        )
        for number, reason in enumerate(reasons)
    ]
