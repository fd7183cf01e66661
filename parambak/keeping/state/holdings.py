"""Which places hold a copy: worked out from the records, never stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state.bodies import HeldBody, PlaceBody, sound
from parambak.keeping.state.record_sets import local_time
from parambak.vault.order import behind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.known import Copy
    from parambak.vault.vault import Stored, Vault

HELD, PLACE = "held", "place"  # kinds of records


class Held(NamedTuple):
    """That a place holds a copy: proven `on` that day, every byte last hashed on `hashed_on`."""

    place: str
    name: str
    on: date
    hashed_on: date | None


class Holdings:
    """What the places of a vault hold, by its records; of one vessel at a time."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        # Their order is told by all records about the vault, which are read only where needed.
        any_place = vault.of_kind(None, PLACE)
        self._places = standing(vault.records(None)) if any_place else {}
        self._vessel: tuple[str, dict[str, list[Held]]] | None = None

    def of(self, copy: Copy) -> tuple[Held, ...]:
        """Return the places that hold a copy, by name; those that were given up are left out."""
        best: dict[str, Held] = {}
        for read in copy.reads:
            for held in self._of_vessel(read.vessel).get(read.record, ()):
                known = best.get(held.place)
                if known is None or held.on > known.on:
                    best[held.place] = held
        return tuple(sorted(best.values(), key=lambda held: (held.name, held.place)))

    def _of_vessel(self, vessel: str) -> dict[str, list[Held]]:
        if self._vessel is None or self._vessel[0] != vessel:
            self._vessel = (vessel, self._looked_up(vessel))
        return self._vessel[1]

    def _looked_up(self, vessel: str) -> dict[str, list[Held]]:
        told = {stored.digest: stored for stored in self._vault.of_kind(vessel, HELD)}
        if not told:
            return {}
        chain = self._vault.chain(vessel)
        after = {link.digest: link.record.after for link in chain}
        ordered = [told[link.digest] for link in chain if link.digest in told]
        return _held(ordered, after, self._places)


def standing(about_vault: Iterable[Stored]) -> dict[str, PlaceBody]:
    """Return what the records about the vault tell last of each place, given up or not."""
    found: dict[str, PlaceBody] = {}
    for stored in about_vault:
        body = sound(stored, PlaceBody) if stored.record.kind == PLACE else None
        if body is not None:
            found[body.place] = body
    return found


def newest_held(records: Iterable[Stored]) -> dict[str, tuple[Stored, HeldBody]]:
    """Return, of records about one vessel in causal order, the last `held` of each place."""
    return {body.place: (stored, body) for stored, body in _sound(records)}


def held_in(records: Sequence[Stored], places: Mapping[str, PlaceBody]) -> dict[str, list[Held]]:
    """Return, of one vessel's records in causal order, by digest the places that hold it.

    `places` is what is told of them: one that was given up does not count, one that nothing
    is told of does, under the name that it was held by.
    """
    return _held(records, {each.digest: each.record.after for each in records}, places)


def _held(
    told: Sequence[Stored],
    after: Mapping[str, Sequence[str]],
    places: Mapping[str, PlaceBody],
) -> dict[str, list[Held]]:
    every = _sound(told)
    newest = {body.place: (stored, body) for stored, body in every}
    hashed = {body.place: (stored, body) for stored, body in every if body.hashed}
    found: dict[str, list[Held]] = {}
    for place, (stored, body) in newest.items():
        known = places.get(place)
        if known is not None and known.removed:
            continue
        last_hashed = hashed.get(place)
        sure = _whole(last_hashed[1], after) if last_hashed else set()
        name = known.name if known else body.name
        on = local_time(stored.record).date()
        hashed_on = local_time(last_hashed[0].record).date() if last_hashed else None
        for digest in _whole(body, after):
            held = Held(place, name, on, hashed_on if digest in sure else None)
            found.setdefault(digest, []).append(held)
    return found


def _sound(records: Iterable[Stored]) -> list[tuple[Stored, HeldBody]]:
    every = ((stored, sound(stored, HeldBody)) for stored in records if stored.record.kind == HELD)
    return [(stored, body) for stored, body in every if body is not None]


def _whole(body: HeldBody, after: Mapping[str, Sequence[str]]) -> set[str]:
    """Return the records that are whole in the place: its newest, and all that they are after."""
    return behind(body.heads, after).difference(body.lacking)
