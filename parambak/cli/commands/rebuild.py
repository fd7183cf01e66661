"""`rebuild`: the index made again from the records."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.rebuild import RebuildQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.rebuild import RebuildAnswer
    from parambak.cli.screen import Screen


@asks(RebuildQuestion, example="parambak rebuild")
def command(screen: Screen, rebuilt: RebuildAnswer) -> None:
    """Make the index again from the records.

    The index is a cache: every answer is the same before and after. Nothing
    else is changed.
    """
    identities = counted(rebuilt.vessels, "vessel identity", "vessel identities")
    records = counted(rebuilt.records, "record")
    screen.good(f"The index was made again: {records}, {identities}.")
