"""Which places hold a copy: worked out from the records, never stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import VaultDamaged
from parambak.keeping.bodies import HeldBody, PlaceBody, body_of
from parambak.keeping.book import local_time

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.known import Copy
    from parambak.vault.vault import Stored, Vault


class Held(NamedTuple):
    """That a place holds a copy: proven `on` that day, every byte last hashed on `hashed_on`."""

    place: str
    name: str
    on: date
    hashed_on: date | None


class Holdings:
    """What the places of a vault hold, by its records; each vessel is looked at once."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        self._places = standing(vault.records(None))
        self._vessels: dict[str, dict[str, list[Held]]] = {}

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
        if vessel not in self._vessels:
            self._vessels[vessel] = held_in(self._vault.records(vessel), self._places)
        return self._vessels[vessel]


def standing(about_vault: Iterable[Stored]) -> dict[str, PlaceBody]:
    """Return what the records about the vault tell last of each place, given up or not."""
    found: dict[str, PlaceBody] = {}
    for stored in about_vault:
        if stored.record.kind == "place":
            try:
                body = body_of(stored.record, stored.digest, PlaceBody)
            except VaultDamaged:
                continue  # named by recheck, and not in the way of the others
            found[body.place] = body
    return found


def newest_held(records: Iterable[Stored]) -> dict[str, tuple[Stored, HeldBody]]:
    """Return of one vessel's records, in causal order, the last `held` of each place."""
    return {body.place: (stored, body) for stored, body in _all_held(records)}


def held_in(records: Sequence[Stored], places: Mapping[str, PlaceBody]) -> dict[str, list[Held]]:
    """Return of one vessel's records, in causal order, by digest the places that hold it.

    `places` is what is told of them; one that was given up does not count, one that nothing
    is told of does, under the name that it was held by.
    """
    after = {stored.digest: stored.record.after for stored in records}
    newest = newest_held(records)
    hashed = {b.place: (s, b) for s, b in _all_held(records) if b.hashed}
    found: dict[str, list[Held]] = {}
    for place, (stored, body) in newest.items():
        told = places.get(place)
        if told is not None and told.removed:
            continue
        last_hashed = hashed.get(place)
        sure = _behind(last_hashed[1], after) if last_hashed else set()
        name = told.name if told else body.name
        on = local_time(stored.record).date()
        hashed_on = local_time(last_hashed[0].record).date() if last_hashed else None
        for digest in _behind(body, after):
            held = Held(place, name, on, hashed_on if digest in sure else None)
            found.setdefault(digest, []).append(held)
    return found


def _all_held(records: Iterable[Stored]) -> list[tuple[Stored, HeldBody]]:
    found = []
    for stored in records:
        if stored.record.kind == "held":
            try:
                found.append((stored, body_of(stored.record, stored.digest, HeldBody)))
            except VaultDamaged:
                continue  # named by recheck, and not in the way of the others
    return found


def _behind(body: HeldBody, after: Mapping[str, Sequence[str]]) -> set[str]:
    """Return the records that are whole in the place: its newest, and all that they are after."""
    seen: set[str] = set()
    waiting = [digest for digest in body.heads if digest in after]
    while waiting:
        digest = waiting.pop()
        if digest not in seen:
            seen.add(digest)
            waiting += [each for each in after[digest] if each in after]
    return seen.difference(body.lacking)
