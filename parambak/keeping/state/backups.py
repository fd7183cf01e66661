"""The backup locations on record, and what each is shown to hold; worked out, never stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.state.bodies import HeldBody, PlaceBody, sound
from parambak.keeping.state.record_sets import local_time
from parambak.vault.order import behind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.model import Copy
    from parambak.vault.vault import Stored, Vault

HELD, PLACE = "held", "place"  # kinds of records
BACKUP_UNKNOWN = Fault(
    "place-unknown",
    NotFound,
    "no place of that name is known",
    "Run `parambak place list`, or add it with `parambak place add NAME ADDRESS`.",
)
BACKUP_TWO = Fault(
    "place-two",
    CallRefused,
    "more than one place has that name",
    "Name the one that is meant with its ~ and digits, as `parambak place list` shows it.",
)


class BackupLocation(Struct, frozen=True):
    """A place as the records tell of it; `handle` names it without doubt.

    `vessels` are the identities that it is limited to, None for all.
    """

    id: str
    name: str
    handle: str
    address: str
    vessels: frozenset[str] | None
    packed: bool


class Held(NamedTuple):
    """That a place holds a copy: proven `on` that day, every byte last hashed on `hashed_on`."""

    place: str
    name: str
    on: date
    hashed_on: date | None


def backup_locations(vault: Vault) -> tuple[BackupLocation, ...]:
    """Return the places that were not given up, by name."""
    told = [body for body in latest_locations(vault.records(None)).values() if not body.removed]
    names = [body.name.casefold() for body in told]
    found = [
        BackupLocation(
            id=body.place,
            name=body.name,
            handle=body.name
            if names.count(body.name.casefold()) == 1
            else f"{body.name}~{body.place[:8]}",
            address=body.address,
            vessels=None if body.vessels is None else frozenset(body.vessels),
            packed=body.packed,
        )
        for body in told
    ]
    return tuple(sorted(found, key=lambda place: (place.name.casefold(), place.id)))


def find_backup(vault: Vault, name: str) -> BackupLocation:
    """Return the one place of that name; raise NotFound or CallRefused otherwise."""
    wanted = name.casefold()
    every = backup_locations(vault)
    found = [place for place in every if wanted == place.handle.casefold()] or [
        place for place in every if wanted == place.name.casefold()
    ]
    if not found:
        expected = " or ".join(place.handle for place in every[:8]) or "none is known yet"
        raise BACKUP_UNKNOWN.error(expected=expected, found=repr(name[:80]))
    if len(found) > 1:
        raise BACKUP_TWO.error(expected=" or ".join(place.handle for place in found), found=name)
    return found[0]


class Holdings:
    """What the places of a vault hold, by its records; of one vessel at a time."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        # Their order is told by all records about the vault, which are read only where needed.
        any_place = vault.of_kind(None, PLACE)
        self._places = latest_locations(vault.records(None)) if any_place else {}
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


def latest_locations(about_vault: Iterable[Stored]) -> dict[str, PlaceBody]:
    """Return what the records about the vault tell last of each place, given up or not."""
    found: dict[str, PlaceBody] = {}
    for stored in about_vault:
        body = sound(stored, PlaceBody) if stored.record.kind == PLACE else None
        if body is not None:
            found[body.place] = body
    return found


def newest_held(records: Iterable[Stored]) -> dict[str, tuple[Stored, HeldBody]]:
    """Return, of records about one vessel in causal order, the last `held` of each place."""
    return {body.place: (stored, body) for stored, body in _held_bodies(records)}


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
    every = _held_bodies(told)
    newest = {body.place: (stored, body) for stored, body in every}
    hashed = {body.place: (stored, body) for stored, body in every if body.hashed}
    found: dict[str, list[Held]] = {}
    for place, (stored, body) in newest.items():
        known = places.get(place)
        if known is not None and known.removed:
            continue
        last_hashed = hashed.get(place)
        sure = _complete_records(last_hashed[1], after) if last_hashed else set()
        name = known.name if known else body.name
        on = local_time(stored.record).date()
        hashed_on = local_time(last_hashed[0].record).date() if last_hashed else None
        for digest in _complete_records(body, after):
            held = Held(place, name, on, hashed_on if digest in sure else None)
            found.setdefault(digest, []).append(held)
    return found


def _held_bodies(records: Iterable[Stored]) -> list[tuple[Stored, HeldBody]]:
    every = ((stored, sound(stored, HeldBody)) for stored in records if stored.record.kind == HELD)
    return [(stored, body) for stored, body in every if body is not None]


def _complete_records(body: HeldBody, after: Mapping[str, Sequence[str]]) -> set[str]:
    """Return the records that are whole in the place: its newest, and all that they are after."""
    return behind(body.heads, after).difference(body.lacking)
