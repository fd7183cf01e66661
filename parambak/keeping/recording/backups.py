"""Backup locations: adds and removes one, and records what a sending proved."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from parambak.errors import CallRefused, Fault, VaultDamaged, VaultRefused
from parambak.keeping.recording.losses import LeftOut, note_left_out
from parambak.keeping.recording.texts import check_short
from parambak.keeping.state import select
from parambak.keeping.state.backups import (
    backup_locations,
    find_backup,
    latest_locations,
    newest_held,
    own_records,
)
from parambak.keeping.state.bodies import BackupLocationBody, HeldBody
from parambak.keeping.state.counting import counting
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.record_sets import local_time
from parambak.vault.locations.location import contents_at, make_location, refusal, require_location
from parambak.vault.locations.send import Location, SendingFailed, Sent, send

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import date, datetime

    from parambak.keeping.state.backups import BackupLocation
    from parambak.vault.locations.send import Proven
    from parambak.vault.locations.stores import Store
    from parambak.vault.vault import Vault

BACKUP_NAME_TAKEN = Fault(
    "backup-name-taken",
    CallRefused,
    "another backup location has that name",
    "Type another name, or remove the other location with `parambak backup remove {name}`.",
)
BACKUP_KNOWN = Fault(
    "backup-known-already",
    CallRefused,
    "this backup location is on record already, under another name",
    "Use its name, {name}; or remove it first with `parambak backup remove {name}`.",
)


def identities_named(vault: Vault, names: Iterable[str]) -> tuple[str, ...] | None:
    """Return every identity of the vessels named, sorted; None if none is named."""
    vessels = fleet(vault)
    identities = {i for name in names for i in select.find_vessel(vessels, name).ids}
    return tuple(sorted(identities)) or None


def add_backup(  # noqa: PLR0913 - what a backup location is, all by keyword
    vault: Vault,
    store: Store,
    *,
    name: str,
    address: str,
    vessels: Sequence[str],
    packed: bool,
    merge: bool,
) -> BackupLocation:
    """Make what is at the store a backup location of this vault, and put it on record."""
    check_short(name, "location")
    limited_to = identities_named(vault, vessels)
    marked = contents_at(store).location
    for location in backup_locations(vault):
        if location.name.casefold() == name.casefold() and location.id != marked:
            found = f"{location.handle} at {location.address}"
            raise BACKUP_NAME_TAKEN.error(name=location.handle, expected="a new name", found=found)
        if location.id == marked and location.name.casefold() != name.casefold():
            raise BACKUP_KNOWN.error(name=location.handle, expected=location.handle, found=name)
    identity = make_location(
        store,
        vault=vault.identity,
        known=latest_locations(own_records(vault)).keys(),
        limited=limited_to is not None,
        packed=packed,
        merge=merge,
    )
    body = BackupLocationBody(
        location=identity, name=name, address=address, vessels=limited_to, packed=packed
    )
    _record_location(vault, body)
    return find_backup(vault, name)


def remove_backup(vault: Vault, name: str) -> BackupLocation:
    """Put on record that a backup location was removed; nothing in it is touched."""
    location = find_backup(vault, name)
    _record_location(
        vault, replace(latest_locations(own_records(vault))[location.id], removed=True)
    )
    return location


def _record_location(vault: Vault, body: BackupLocationBody) -> None:
    with vault.writing() as writing:
        if latest_locations(own_records(vault)).get(body.location) != body:
            writing.add(body.kind, None, body.members())


def send_to(  # noqa: PLR0913 - how to send, all by keyword
    vault: Vault,
    store: Store,
    location: BackupLocation,
    *,
    now: Callable[[], datetime],
    since: str,
    progress: Callable[[int, int], None],
    quick: bool = False,
    both_ways: bool = False,
) -> tuple[Sent, tuple[str, ...]]:
    """Send to a backup location, and put on record what it holds; return notes as well.

    If it stops early, what was sent until then is put on record, and the refusal raised.
    """
    require_location(store, location.id, packed=location.packed)
    try:
        with store.holding(since):
            sent = _sent(vault, store, location, progress, quick=quick, both_ways=both_ways)
    except SendingFailed as broken:
        put_on_record(vault, location, broken.proven, now().date())
        raise broken.refusal from broken
    except OSError as error:  # not even the lock
        raise refusal(store, error, 0, 1) from error
    if sent.fetched is not None and sent.fetched.left_out:
        vessels = [v for v in vault.vessels() if location.vessels is None or v in location.vessels]
        with vault.writing() as writing:
            left = LeftOut(location.name, sent.fetched.left_out)
            note_left_out(vault, writing, left, vessels)
    return sent, put_on_record(vault, location, sent.proven, now().date())


def _sent(  # noqa: PLR0913 - how to send, all by keyword
    vault: Vault,
    store: Store,
    location: BackupLocation,
    progress: Callable[[int, int], None],
    *,
    quick: bool,
    both_ways: bool,
) -> Sent:
    target = Location(location.id, location.vessels, location.packed)
    if not location.packed:
        return send(vault, store, target, progress, quick=quick, both_ways=both_ways)
    from parambak.vault.locations.packed import send_packed  # noqa: PLC0415 - few backup locations are packed

    names = {identity: ship.short for ship in fleet(vault).vessels for identity in ship.ids}
    return send_packed(vault, store, target, names, progress, quick=quick, both_ways=both_ways)


def put_on_record(
    vault: Vault, location: BackupLocation, proven: Sequence[Proven], today: date
) -> tuple[str, ...]:
    """Write a record `held` for each vessel, unless one of today states the same.

    Returns a note if the vault could not be written: what was sent is at the location anyway.
    """
    try:
        _write_held(vault, location, proven, today)
    except (VaultRefused, VaultDamaged) as error:
        return (f"what {location.name} holds is not on record: {error.text}",)
    return ()


def _write_held(
    vault: Vault, location: BackupLocation, proven: Sequence[Proven], today: date
) -> None:
    if not proven:
        return
    with vault.writing() as writing:
        for holding in proven:
            body = HeldBody(
                location=location.id,
                name=location.name,
                heads=holding.heads,
                records=holding.records,
                objects=holding.objects,
                hashed=holding.hashed,
                incomplete=holding.incomplete,
            )
            last = newest_held(counting(vault, holding.vessel)).get(location.id)
            stated_on = last is not None and last[1] == body and local_time(last[0].record).date()
            if stated_on != today:
                writing.add(body.kind, holding.vessel, body.members())
