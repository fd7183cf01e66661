"""`rebuild`: the index thrown away and built anew from the records."""

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
    """Throw the index away and build it anew from the records.

    The index is a cache: every answer is the same before and after. Nothing
    else is changed.
    """
    return settings.ask(answer, RebuildQuestion(), _page)


def _page(screen: Screen, rebuilt: RebuildAnswer) -> None:
    about = counted(rebuilt.vessels, "identity", "identities")
    records = counted(rebuilt.records, "record")
    screen.good(f"The index was built anew: {records}, vessels by {about}.")
