"""`layout check`: every mistake of a layout at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.layout.check import LayoutCheckQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.layout.check import LayoutCheckAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "check", example="parambak layout check shared/layouts/thruster.toml", vault=False
)
@click.argument("file", metavar="FILE")
@pass_settings
def command(settings: Settings, file: str) -> Answer:
    """List every mistake in a layout FILE, with its line; exit code 1 if there is one."""
    return settings.ask(answer, LayoutCheckQuestion(file=file), _page)


def _page(screen: Screen, checked: LayoutCheckAnswer) -> None:
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
