"""`seal`: the short line that finds a history cut back, to be written down elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.seal import SealQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.seal import SealAnswer
    from parambak.cli.screen import Screen


@parambak_command("seal", example="parambak seal grebe")
@click.argument("vessels", metavar="[VESSEL]...", nargs=-1)
@pass_settings
def command(settings: Settings, vessels: tuple[str, ...]) -> Answer:
    """Print the line that closes each vessel's history as of now.

    Write it into a report, or keep it on another stick: `recheck --seal` tells
    by it whether records were removed since. Without VESSEL, of all vessels.
    """
    return settings.ask(answer, SealQuestion(vessels=vessels), _page)


def _page(screen: Screen, closing: SealAnswer) -> None:
    if not closing.lines:
        screen.say("Nothing is on record here yet. Begin with `parambak archive`.")
    for line in closing.lines:
        screen.say(line.line)
