"""From where damage can be healed: the places that last proved to hold what is damaged here."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.recording.places import places
from parambak.keeping.state.holdings import held_in, standing

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.holdings import Held
    from parambak.keeping.state.losses import Loss
    from parambak.vault.vault import Vault


class Healer(NamedTuple):
    """A place, by the name to call it, with how many of the damaged files it held on a day."""

    place: str
    files: int
    on: date


def healers(vault: Vault, lost: Mapping[str, Sequence[Loss]]) -> tuple[Healer, ...]:
    """Return the places known here that hold some of the damaged files, the best first.

    A place holds a file if it holds a record that relies on it; `lost` gives those.
    """
    told = standing(vault.records(None))
    identities = {loss.identity for found in lost.values() for loss in found if loss.identity}
    held = {each: held_in(vault.records(each), told) for each in sorted(identities)}
    days: dict[str, dict[str, date]] = {}
    for file, found in lost.items():
        for loss in found:
            for each in held.get(loss.identity or "", {}).get(loss.record or "", ()):
                day = _proven_on(each)
                known = days.setdefault(each.place, {})
                known[file] = max(day, known.get(file, day))
    handles = {place.id: place.handle for place in places(vault)}
    every = [
        Healer(handles[place], len(by_file), min(by_file.values()))
        for place, by_file in days.items()
        if place in handles
    ]
    return tuple(sorted(every, key=lambda each: (-each.files, -each.on.toordinal(), each.place)))


def _proven_on(held: Held) -> date:
    return held.hashed_on or held.on
