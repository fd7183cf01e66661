"""The backup locations on record, and what each is shown to hold; worked out, never stored."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.state.bodies import BackupLocationBody, HeldBody, of_kind
from parambak.keeping.state.counting import counting, counting_of_kind
from parambak.keeping.state.record_sets import local_time
from parambak.vault.order import behind
from parambak.vault.vault_toml import FIRST

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
    """Return the backup locations that were not removed, by name.

    Of several with one name, the name alone is that of the one which was added from here.
    """
    records = own_records(vault)
    latest = [body for body in latest_locations(records).values() if not body.removed]
    of_name: dict[str, list[str]] = {}
    for body in latest:
        of_name.setdefault(body.name.casefold(), []).append(body.location)
    for name, several in of_name.items():
        if len(several) > 1:
            of_name[name] = _added_here(vault, records, several)
    locations = [
        BackupLocation(
            id=body.location,
            name=body.name,
            handle=body.name
            if of_name[body.name.casefold()] == [body.location]
            else _with_digits(body.name, body.location),
            address=body.address,
            vessels=None if body.vessels is None else frozenset(body.vessels),
            packed=body.packed,
        )
        for body in latest
    ]
    return tuple(sorted(locations, key=lambda location: (location.name.casefold(), location.id)))


def _with_digits(name: str, identity: str) -> str:
    return f"{name}~{identity[:8]}"


def _added_here(vault: Vault, records: Iterable[Stored], locations: list[str]) -> list[str]:
    """Return which of these locations were added from here."""
    added: dict[str, str] = {}
    for stored, body in of_kind(records, BackupLocationBody):
        added.setdefault(body.location, stored.record.writer)
    return [location for location in locations if added[location] == vault.writer]


def find_backup(vault: Vault, name: str) -> BackupLocation:
    """Return the one location of that name; raise NotFound or CallRefused otherwise."""
    typed = name.casefold()
    locations = backup_locations(vault)
    matches = [location for location in locations if typed == location.handle.casefold()] or [
        location
        for location in locations
        if typed in (location.name.casefold(), _with_digits(location.name, location.id).casefold())
    ]
    if not matches:
        expected = (
            " or ".join(location.handle for location in locations[:8]) or "none is on record yet"
        )
        raise BACKUP_UNKNOWN.error(expected=expected, found=repr(name[:80]))
    if len(matches) > 1:
        raise BACKUP_TWO.error(expected=" or ".join(match.handle for match in matches), found=name)
    return matches[0]


def own_records(vault: Vault) -> tuple[Stored, ...]:
    """Return the records about this vault itself, in causal order.

    Those of another vault that was merged in are not after this vault's first record. If the
    first record is lost, nothing distinguishes them: then all are returned.
    """
    records = tuple(vault.records(None))
    own: set[str] = set()
    for stored in records:
        record = stored.record
        first = record.kind == FIRST and record.body.get("vault") == vault.identity
        if first or not own.isdisjoint(record.after):
            own.add(stored.digest)
    return tuple(stored for stored in counting(vault, None) if not own or stored.digest in own)


class Holdings:
    """What the backup locations of a vault hold, by its records; of one vessel at a time.

    A location that is not this vault's own does not count: a vessel's former owner had it.
    """

    def __init__(self, vault: Vault) -> None:
        self._vault = vault
        # Their order needs all records about the vault, which are read only if there is a location.
        any_location = vault.of_kind(None, BackupLocationBody.kind)
        self._locations = latest_locations(own_records(vault)) if any_location else {}
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

    One that was removed, or is not among `locations`, does not count.
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
        if location is None or location.removed:
            continue
        last_hashed = hashed.get(identity)
        sure = _complete_records(last_hashed[1], after) if last_hashed else set()
        on = local_time(stored.record).date()
        hashed_on = local_time(last_hashed[0].record).date() if last_hashed else None
        for digest in _complete_records(body, after):
            held = Held(identity, location.name, on, hashed_on if digest in sure else None)
            by_record.setdefault(digest, []).append(held)
    return by_record


def _complete_records(body: HeldBody, after: Mapping[str, Sequence[str]]) -> set[str]:
    """Return the records that are complete there: its newest, and all that they are after."""
    return behind(body.heads, after).difference(body.incomplete)
