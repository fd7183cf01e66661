"""What the questions of backup locations have in common: a store opened, a location shown."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from parambak.answers.forms import Answer
from parambak.vault.locations.address import SFTP, parse
from parambak.vault.locations.location import open_store
from parambak.vault.locations.stores import SshTerms, ssh_terms

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.answers.session import Session
    from parambak.keeping.state.backups import BackupLocation
    from parambak.vault.locations.stores import Store


class LocationAnswer(Answer, frozen=True):
    """A location: its name without doubt, identity and address; the vessels, null for all."""

    location: str
    id: str
    address: str
    vessels: tuple[str, ...] | None
    packed: bool


def members_of(session: Session, location: BackupLocation) -> dict[str, Any]:
    """Return a location's members as a LocationAnswer has them."""
    return {
        "location": location.handle,
        "id": location.id,
        "address": location.address,
        "vessels": vessels_of(session, location),
        "packed": location.packed,
    }


def handles(session: Session) -> dict[str, str]:
    """Return the handle of the vessel that each identity is."""
    return {identity: ship.handle for ship in session.fleet().vessels for identity in ship.ids}


def vessels_of(session: Session, location: BackupLocation) -> tuple[str, ...] | None:
    """Return the handles of the vessels that a location is limited to; None for all.

    One that is not in the vault is named by its identity.
    """
    limited = location.vessels
    if limited is None:
        return None
    ships = session.fleet().vessels
    named = {ship.handle: ship.ids & limited for ship in ships if ship.ids & limited}
    return (*named, *sorted(limited.difference(*named.values())))


@contextmanager
def opened(session: Session, address: str) -> Iterator[Store]:
    """Open the store at an address for as long as the block runs."""
    parsed = parse(address)
    terms = ssh_terms(session.folders.ssh_folder) if parsed.scheme in SFTP else SshTerms()
    store = open_store(parsed, session.vault.writer, terms)
    try:
        yield store
    finally:
        store.close()
