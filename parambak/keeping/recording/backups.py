"""Backup locations: adding and removing one, and what a sending puts on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from parambak.errors import CallRefused, Fault, VaultDamaged, VaultRefused
from parambak.keeping.recording.texts import check_short
from parambak.keeping.state import select
from parambak.keeping.state.backups import (
    backup_locations,
    find_backup,
    latest_locations,
    newest_held,
)
from parambak.keeping.state.bodies import BackupLocationBody, HeldBody
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
    "Choose another name, or give the other one up with `parambak backup remove {name}`.",
)
BACKUP_KNOWN = Fault(
    "backup-known-already",
    CallRefused,
    "this backup location is known already, by another name",
    "Use its name, {name}; `parambak backup remove {name}` gives it up first.",
)


def identities_named(vault: Vault, names: Iterable[str]) -> tuple[str, ...] | None:
    """Return every identity of the vessels named, rising; None where none is named."""
    known = fleet(vault)
    found = {each for name in names for each in select.find_vessel(known, name).ids}
    return tuple(sorted(found)) or None


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
    chosen = identities_named(vault, vessels)
    known = backup_locations(vault)
    there = contents_at(store).location
    for location in known:
        if location.name.casefold() == name.casefold() and location.id != there:
            found = f"{location.handle} at {location.address}"
            raise BACKUP_NAME_TAKEN.error(name=location.handle, expected="a new name", found=found)
        if location.id == there and location.name.casefold() != name.casefold():
            raise BACKUP_KNOWN.error(name=location.handle, expected=location.handle, found=name)
    identity = make_location(
        store,
        vault=vault.identity,
        known=latest_locations(vault.records(None)).keys(),
        limited=chosen is not None,
        packed=packed,
        merge=merge,
    )
    body = BackupLocationBody(
        location=identity, name=name, address=address, vessels=chosen, packed=packed
    )
    _record_location(vault, body)
    return find_backup(vault, name)


def remove_backup(vault: Vault, name: str) -> BackupLocation:
    """Put on record that a backup location was given up; nothing in it is touched."""
    location = find_backup(vault, name)
    _record_location(
        vault, replace(latest_locations(vault.records(None))[location.id], removed=True)
    )
    return location


def _record_location(vault: Vault, body: BackupLocationBody) -> None:
    with vault.writing() as writing:
        if latest_locations(vault.records(None)).get(body.location) != body:
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
    """Send to a backup location, and put on record what it was found to hold; return notes as well.

    Where it breaks off, what was through till then is put on record, and the refusal raised.
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

    names = {each: ship.short for ship in fleet(vault).vessels for each in ship.ids}
    return send_packed(vault, store, target, names, progress, quick=quick, both_ways=both_ways)


def put_on_record(
    vault: Vault, location: BackupLocation, proven: Sequence[Proven], today: date
) -> tuple[str, ...]:
    """Write a record `held` for each vessel, but for what today's says already.

    Returns a note where the vault could not be written: what was sent is there all the same.
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
        for each in proven:
            body = HeldBody(
                location=location.id,
                name=location.name,
                heads=each.heads,
                records=each.records,
                objects=each.objects,
                hashed=each.hashed,
                lacking=each.lacking,
            )
            last = newest_held(vault.records(each.vessel)).get(location.id)
            said = last is not None and last[1] == body and local_time(last[0].record).date()
            if said != today:
                writing.add(body.kind, each.vessel, body.members())
