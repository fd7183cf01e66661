"""The backup locations on record, and what each is shown to hold; worked out, never stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.state.bodies import BackupLocationBody, HeldBody, of_kind
from parambak.keeping.state.counting import counting, counting_of_kind
from parambak.keeping.state.record_sets import local_time
from parambak.vault.order import behind

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.model import Copy
    from parambak.vault.vault import Stored, Vault

BACKUP_UNKNOWN = Fault(
    "backup-unknown",
    NotFound,
    "no backup location of that name is on record",
    "Run `parambak backup list`; or add it with `parambak backup add NAME ADDRESS`.",
)
BACKUP_TWO = Fault(
    "backup-two",
    CallRefused,
    "more than one backup location has that name",
    "Name the right one with its ~ and digits, as `parambak backup list` shows it.",
)


class BackupLocation(Struct, frozen=True):
    """A backup location on record; `handle` is its unique name.

    `vessels` are the identities that it is limited to, None for all.
    """

    id: str
    name: str
    handle: str
    address: str
    vessels: frozenset[str] | None
    packed: bool


class Held(NamedTuple):
    """A location that holds a copy: proven `on` a day, every byte last hashed on `hashed_on`."""

    location: str
    name: str
    on: date
    hashed_on: date | None


def backup_locations(vault: Vault) -> tuple[BackupLocation, ...]:
    """Return the backup locations that were not removed, by name."""
    latest = [body for body in latest_locations(counting(vault, None)).values() if not body.removed]
    names = [body.name.casefold() for body in latest]
    locations = [
        BackupLocation(
            id=body.location,
            name=body.name,
            handle=body.name
            if names.count(body.name.casefold()) == 1
            else f"{body.name}~{body.location[:8]}",
            address=body.address,
            vessels=None if body.vessels is None else frozenset(body.vessels),
            packed=body.packed,
        )
        for body in latest
    ]
    return tuple(sorted(locations, key=lambda location: (location.name.casefold(), location.id)))


def find_backup(vault: Vault, name: str) -> BackupLocation:
    """Return the one location of that name; raise NotFound or CallRefused otherwise."""
    typed = name.casefold()
    locations = backup_locations(vault)
    matches = [location for location in locations if typed == location.handle.casefold()] or [
        location for location in locations if typed == location.name.casefold()
    ]
    if not matches:
        expected = (
            " or ".join(location.handle for location in locations[:8]) or "none is on record yet"
        )
        raise BACKUP_UNKNOWN.error(expected=expected, found=repr(name[:80]))
    if len(matches) > 1:
        raise BACKUP_TWO.error(expected=" or ".join(match.handle for match in matches), found=name)
    return matches[0]


class Holdings:
    """What the backup locations of a vault hold, by its records; of one vessel at a time."""

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        # Their order needs all records about the vault, which are read only if there is a location.
        any_location = vault.of_kind(None, BackupLocationBody.kind)
        self._locations = latest_locations(counting(vault, None)) if any_location else {}
        self._vessel: tuple[str, dict[str, list[Held]]] | None = None

    def of(self, copy: Copy) -> tuple[Held, ...]:
        """Return the locations that hold a copy, by name; those that were removed are left out."""
        best: dict[str, Held] = {}
        for read in copy.reads:
            for held in self._of_vessel(read.vessel).get(read.record, ()):
                before = best.get(held.location)
                if before is None or held.on > before.on:
                    best[held.location] = held
        return tuple(sorted(best.values(), key=lambda held: (held.name, held.location)))

    def _of_vessel(self, vessel: str) -> dict[str, list[Held]]:
        if self._vessel is None or self._vessel[0] != vessel:
            self._vessel = (vessel, self._looked_up(vessel))
        return self._vessel[1]

    def _looked_up(self, vessel: str) -> dict[str, list[Held]]:
        held_records = counting_of_kind(self._vault, vessel, HeldBody.kind)
        held = {stored.digest: stored for stored in held_records}
        if not held:
            return {}
        chain = self._vault.chain(vessel)
        after = {link.digest: link.record.after for link in chain}
        ordered = [held[link.digest] for link in chain if link.digest in held]
        return _held(ordered, after, self._locations)


def latest_locations(about_vault: Iterable[Stored]) -> dict[str, BackupLocationBody]:
    """Return the last record of each location, removed or not, from those about the vault."""
    return {body.location: body for _, body in of_kind(about_vault, BackupLocationBody)}


def newest_held(records: Iterable[Stored]) -> dict[str, tuple[Stored, HeldBody]]:
    """Return, of records about one vessel in causal order, the last `held` of each location."""
    return {body.location: (stored, body) for stored, body in of_kind(records, HeldBody)}


def held_in(
    records: Sequence[Stored], locations: Mapping[str, BackupLocationBody]
) -> dict[str, list[Held]]:
    """Return, of one vessel's records in causal order, by digest the locations that hold it.

    A location that was removed does not count; one that is not among `locations` does, under
    the name in its record.
    """
    return _held(records, {stored.digest: stored.record.after for stored in records}, locations)


def _held(
    records: Sequence[Stored],
    after: Mapping[str, Sequence[str]],
    locations: Mapping[str, BackupLocationBody],
) -> dict[str, list[Held]]:
    newest = newest_held(records)
    hashed = {body.location: (s, body) for s, body in of_kind(records, HeldBody) if body.hashed}
    by_record: dict[str, list[Held]] = {}
    for identity, (stored, body) in newest.items():
        location = locations.get(identity)
        if location is not None and location.removed:
            continue
        last_hashed = hashed.get(identity)
        sure = _complete_records(last_hashed[1], after) if last_hashed else set()
        name = location.name if location else body.name
        on = local_time(stored.record).date()
        hashed_on = local_time(last_hashed[0].record).date() if last_hashed else None
        for digest in _complete_records(body, after):
            held = Held(identity, name, on, hashed_on if digest in sure else None)
            by_record.setdefault(digest, []).append(held)
    return by_record


def _complete_records(body: HeldBody, after: Mapping[str, Sequence[str]]) -> set[str]:
    """Return the records that are complete there: its newest, and all that they are after."""
    return behind(body.heads, after).difference(body.incomplete)
