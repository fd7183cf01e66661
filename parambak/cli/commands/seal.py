"""`seal`: a short line that shows later if records were removed, to keep elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.seal import SealQuestion
from parambak.cli.command import asks

if TYPE_CHECKING:
    from parambak.answers.seal import SealAnswer
    from parambak.cli.screen import Screen


@asks(SealQuestion, example="parambak seal grebe")
@click.argument("vessels", metavar="[VESSEL]...", nargs=-1)
def command(screen: Screen, sealed: SealAnswer) -> None:
    """Print a seal of each vessel's history as it is now.

    Write it into a report, or keep it on another stick. With it, `recheck --seal` shows if
    records were removed later. Without VESSEL, every vessel gets a seal.
    """
    if not sealed.lines:
        screen.say("Nothing is on record here yet. Begin with `parambak archive`.")
    for line in sealed.lines:
        screen.say(line.line)
