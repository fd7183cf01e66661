"""`rebuild`: the index made again from the records."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.rebuild import RebuildQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.rebuild import RebuildAnswer
    from parambak.cli.screen import Screen


@parambak_command("rebuild", example="parambak rebuild")
@pass_settings
def command(settings: Settings) -> Answer:
    """Make the index again from the records.

    The index is a cache: every answer is the same before and after. Nothing
    else is changed.
    """
    return settings.ask(answer, RebuildQuestion(), _page)


def _page(screen: Screen, rebuilt: RebuildAnswer) -> None:
    identities = counted(rebuilt.vessels, "vessel identity", "vessel identities")
    records = counted(rebuilt.records, "record")
    screen.good(f"The index was made again: {records}, {identities}.")
