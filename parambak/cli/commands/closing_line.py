"""`closing-line`: the short line that finds a history cut back, to be written down elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.closing_lines import line_of
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state import closing_line, select
from parambak.keeping.state.fold import fleet

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.closing_line import ClosingLine


@parambak_command("closing-line", example="parambak closing-line grebe")
@click.argument("vessels", metavar="[VESSEL]...", nargs=-1)
@pass_settings
def command(settings: Settings, vessels: tuple[str, ...]) -> Answer:
    """Print the line that closes each vessel's history as of now.

    Write it into a report, or keep it on another stick: `recheck --known` tells
    by it whether records were removed since. Without VESSEL, of all vessels.
    """
    vault = store.open_vault(settings)
    known = fleet(vault)
    named = [select.find_vessel(known, name) for name in vessels] or known.vessels
    lines = [line_of(vault, vessel) for vessel in named]
    return Answer(
        {
            "lines": [
                {
                    "vessel": line.name,
                    "line": closing_line.write(line),
                    "records": line.records,
                    "ends": list(line.ends),
                }
                for line in lines
            ]
        },
        lambda screen: _page(screen, lines),
        warnings=store.warnings_of(vault),
    )


def _page(screen: Screen, lines: list[ClosingLine]) -> None:
    if not lines:
        screen.say("Nothing is on record here yet. Begin with `parambak archive`.")
    for line in lines:
        screen.say(closing_line.write(line))
