"""`due`: what is to be read again, or sent to a second backup location, the most urgent first."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import click

from parambak.answers.due import DueQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.due import (
    FADING,
    NOT_VERIFIED,
    ONE_LOCATION,
    ONE_READ,
    TOO_OLD,
    UNFINISHED_SWAP,
    UNSTABLE,
)
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from datetime import date

    from parambak.answers.due import DueAnswer, DueShown
    from parambak.cli.screen import Screen

NEXT = {
    UNFINISHED_SWAP: (
        "do what is missing there, then run `parambak swap close {where}`. `parambak swap check "
        "{where}` shows each condition."
    ),
    UNSTABLE: (
        "reseat the chip and read it again. If it reads differently again, replace it, and archive "
        "the new one with `parambak archive --new-chip`."
    ),
    FADING: "replace the chip. `parambak history {where}` shows which bits changed.",
    NOT_VERIFIED: (
        "correct what is named there. `parambak report copy {where} --out FILE` shows all of it."
    ),
    ONE_READ: "read the chip again, and keep the dump with `parambak archive`.",
    TOO_OLD: "read the chip twice, and keep both dumps with `parambak archive`.",
    ONE_LOCATION: (
        "run `parambak backup send NAME`. `parambak backup list` shows the names of the locations; "
        "`parambak backup add` makes one known."
    ),
}


@parambak_command("due", example="parambak due grebe --ahead 90 --calendar due.ics")
@click.argument("where", metavar="[WHERE]", required=False)
@click.option(
    "--ahead",
    type=click.IntRange(0, 3660),
    default=0,
    metavar="DAYS",
    help="Show also what becomes due within DAYS.",
)
@click.option("--calendar", metavar="FILE", help="Write every date as a calendar file (iCalendar).")
@click.option("--replace", is_flag=True, help="Write over an existing file.")
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

    A position is due if its copy is not verified, was read once, or is older than the
    rules allow. It is also due if no backup location was proven to hold it.
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
        screen.warn(
            f"Due: {len(late)} of {counted(answered.positions, 'position')}. The most urgent is "
            f"{late[0].where}."
        )
        first = next(reason for reason in late[0].reasons if reason.on <= today.isoformat())
        screen.say(f"Do next: {NEXT[first.code].format(where=late[0].where)}")
    else:
        screen.good(f"Nothing is due among {counted(answered.positions, 'position')}.")


def _rows(due: DueShown, today: str, last_day: str) -> list[tuple[str, str, str]]:
    """Return a line for each reason, what is due before what becomes due."""
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
