"""`seal`: a short line that shows later if records were removed, to keep elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.seal import SealQuestion
from parambak.cli.command import asks
from parambak.cli.screen import Screen

if TYPE_CHECKING:
    from parambak.answers.seal import SealAnswer


@asks(SealQuestion, example="parambak seal grebe")
@click.argument("vessels", metavar="[VESSEL]...", nargs=-1)
def command(screen: Screen, sealed: SealAnswer) -> None:
    """Print a seal of each vessel's history as it is now.

    Write it into a report, or keep it on another stick. With it, `recheck --seal` shows if
    records were removed later. Without VESSEL, every vessel gets a seal.
    """
    if not sealed.seals:
        screen.say("Nothing is on record here yet. Begin with `parambak archive`.")
    for shown in sealed.seals:
        screen.say(shown.seal)
    if sealed.seals:
        Screen(stderr=True).say(  # not among the lines, which go into a file or onto paper
            "Do next: keep each line away from this vault, on paper or on another stick. Later, "
            '`parambak recheck --seal "LINE"` shows whether records were removed.'
        )
