"""`visit close`: the attendance is over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.visit.close import VisitCloseQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.visit.close import VisitCloseAnswer
    from parambak.cli.screen import Screen


@asks(VisitCloseQuestion, example="parambak visit close --remark 'all thrusters read'")
@click.argument("vessel", metavar="[VESSEL]", required=False)
@click.option(
    "--on",
    metavar="DATE",
    help="The last day, such as 2026-03-01, or '2026-03-01 14:30'. Default: today, or the first "
    "day if the visit was entered afterwards.",
)
@click.option("--by", metavar="PERSON", help="Who closes it. Default: who opened it.")
@click.option("--remark", metavar="TEXT", help="What the next person aboard must know.")
def command(screen: Screen, closed: VisitCloseAnswer) -> None:
    """Close the open visit.

    Name VESSEL if several visits are open.
    """
    once = [position.where for position in closed.read if position.reads == 1]
    if closed.changed:
        screen.say(f"Changed since the copy before: {', '.join(closed.changed)}.")
    if once:
        screen.say(f"Read only once in this visit: {', '.join(once)}.")
    if closed.not_read:
        screen.say(f"On record aboard and not read in this visit: {', '.join(closed.not_read)}.")
    if closed.measurements:
        screen.say(f"Measured: {counted(closed.measurements, 'round')}.")
    reads = counted(closed.reads, "read")
    screen.good(f"Visit to {closed.vessel} of {closed.on} is closed; {reads} on record.")
    page = (
        "To print its page, with what changed and has no remark yet"
        if closed.changed
        else "To print its page"
    )
    screen.say(f"{page}: `parambak report visit {closed.vessel} --on {closed.on} --out FILE`.")
