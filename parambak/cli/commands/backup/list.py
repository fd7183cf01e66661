"""`backup list`: the backup locations, and what each was last proven to hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.backup.list import BackupListQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.backup.list import BackupListAnswer, LocationShown
    from parambak.cli.screen import Screen


@asks(BackupListQuestion, example="parambak backup list")
def command(screen: Screen, listed: BackupListAnswer) -> None:
    """List the backup locations, and what each was last proven to hold."""
    if not listed.locations:
        screen.say(
            "No backup location is on record yet. Add one with `parambak backup add NAME ADDRESS`."
        )
        return
    for location in listed.locations:
        screen.heading(location.location)
        vessels = "all" if location.vessels is None else ", ".join(location.vessels)
        facts = [("address", location.address), ("vessels", vessels)]
        if location.packed:
            facts.append(("packed", "one pack for each vessel"))
        screen.facts([*facts, ("identity", location.id), ("holds", _holds(location))])


def _holds(location: LocationShown) -> str:
    if location.proven_on is None and not location.vessels_here:
        return "nothing on record: this vault has no vessel that belongs there"
    if location.proven_on is None:
        return f"nothing yet: `parambak backup send {location.location}`"
    dates = location.proven_on
    if location.oldest_proof != dates:
        dates = f"{location.oldest_proof} to {dates}"
    records, vessels = counted(location.records, "record"), counted(location.vessels_held, "vessel")
    text = (
        f"{records} of {vessels}, {'checked' if location.hashed else 'NOT CHECKED'} there {dates}"
    )
    return (
        f"{text}; {counted(location.missing, 'record')} NOT COMPLETE there"
        if location.missing
        else text
    )
