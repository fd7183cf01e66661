"""`visit close`: the attendance is over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.visits import close_visit
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.visits import Attendance


@parambak_command("close", example="parambak visit close --remark 'all thrusters read'")
@click.argument("vessel", metavar="[VESSEL]", required=False)
@click.option("--remark", metavar="TEXT", help="What the next one aboard should know.")
@pass_settings
def command(settings: Settings, vessel: str | None, remark: str | None) -> Answer:
    """Close the open visit, to VESSEL where several are open."""
    vault = store.open_vault(settings)
    handle, visit, done = close_visit(vault, vessel=vessel, remark=remark)
    return Answer(
        {
            "vessel": handle,
            "on": visit.on,
            "reads": sum(done.reads.values()),
            "read": [{"where": where, "reads": count} for where, count in done.reads.items()],
            "not_read": list(done.missed),
            "changed": list(done.changed),
            "measurements": done.measured,
        },
        lambda screen: _page(screen, handle, visit.on, done),
        warnings=store.warnings_of(vault),
    )


def _page(screen: Screen, handle: str, on: str, done: Attendance) -> None:
    if done.changed:
        screen.say(f"Changed since the copy before: {', '.join(done.changed)}.")
    if done.once:
        screen.say(f"Read only once: {', '.join(done.once)}.")
    if done.missed:
        screen.say(f"On record aboard and not read in this visit: {', '.join(done.missed)}.")
    if done.measured:
        screen.say(f"Measured: {counted(done.measured, 'round')}.")
    word = counted(sum(done.reads.values()), "read")
    screen.good(f"Visit to {handle} of {on} is closed; {word} on record.")
    page = "Its page, with what changed and what has no remark yet" if done.changed else "Its page"
    screen.say(f"{page}: `parambak report visit {handle} --on {on} --out FILE`.")
