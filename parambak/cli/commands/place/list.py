"""`place list`: the places, and what each was last found to hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.place.list import PlaceListQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.place.list import LocationShown, PlaceListAnswer
    from parambak.cli.screen import Screen


@parambak_command("list", example="parambak place list")
@pass_settings
def command(settings: Settings, /) -> Answer:
    """List the places, and for how many vessels each was last proven to hold what."""
    return settings.ask(answer, PlaceListQuestion(), _page)


def _page(screen: Screen, listed: PlaceListAnswer) -> None:
    if not listed.places:
        screen.say("No place is known yet. Add one with `parambak place add NAME ADDRESS`.")
        return
    for place in listed.places:
        screen.heading(place.place)
        vessels = "all" if place.vessels is None else ", ".join(place.vessels)
        facts = [("address", place.address), ("vessels", vessels)]
        if place.packed:
            facts.append(("packed", "one pack for each vessel"))
        screen.facts([*facts, ("identity", place.id), ("holds", _holds(place))])


def _holds(place: LocationShown) -> str:
    if place.proven_on is None and not place.vessels_here:
        return "nothing that is known: no vessel that belongs there is in this vault"
    if place.proven_on is None:
        return f"nothing yet: `parambak place send {place.place}`"
    dates = place.proven_on
    if place.oldest_proof != dates:
        dates = f"{place.oldest_proof} to {dates}"
    records, vessels = counted(place.records, "record"), counted(place.vessels_held, "vessel")
    text = f"{records} of {vessels}, {'hashed' if place.hashed else 'NOT HASHED'} there {dates}"
    return f"{text}; {counted(place.lacking, 'record')} NOT WHOLE there" if place.lacking else text
