"""`layout check`: every mistake of a layout at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.layout.check import LayoutCheckQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.layout.check import LayoutCheckAnswer
    from parambak.cli.screen import Screen


@asks(
    LayoutCheckQuestion, example="parambak layout check shared/layouts/thruster.toml", vault=False
)
@click.argument("file", metavar="FILE")
def command(screen: Screen, checked: LayoutCheckAnswer) -> None:
    """List every mistake in a layout FILE, with its line; exit code 1 if there is one."""
    for problem in checked.problems:
        at = f", line {problem.line}" if problem.line else ""
        key = f" ({problem.key})" if problem.key else ""
        screen.say(f"{problem.file}{at}{key}: {problem.text}")
        facts = (("expected", problem.expected), ("found", problem.found))
        written = [(label, value) for label, value in facts if value]
        screen.facts([*written, ("do next", problem.next or "Correct that line.")])
    if checked.problems:
        mistakes = counted(len(checked.problems), "mistake")
        screen.bad(f"{mistakes}. The layout cannot be used until they are corrected.")
        return
    gaps = counted(len(checked.gaps), "gap")
    screen.say(f"{checked.covered_bytes} of {checked.size} bytes are covered, {gaps}.")
    screen.good("No mistakes.")
