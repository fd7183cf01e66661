"""What the commands of places have in common: an address made whole, its store opened."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from parambak.keeping.state.fold import fleet
from parambak.vault.locations.address import SFTP, parse
from parambak.vault.locations.faults import INSIDE
from parambak.vault.locations.location import open_store
from parambak.vault.locations.stores import SshTerms

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.cli.settings import Settings
    from parambak.keeping.state.backups import BackupLocation
    from parambak.vault.locations.stores import Store
    from parambak.vault.vault import Vault

KEYS = ("id_ed25519", "id_ecdsa", "id_rsa")


def handles(vault: Vault) -> dict[str, str]:
    """Return the handle of the vessel that each identity is."""
    return {each: ship.handle for ship in fleet(vault).vessels for each in ship.ids}


def whole(settings: Settings, text: str) -> str:
    """Return an address as it is kept: a folder's path from the root, a URL as it is."""
    address = parse(text)
    if address.scheme:
        return text
    folder = Path(address.path).expanduser().absolute()
    vault = settings.vault_folder.resolve()
    there = folder.resolve()
    if vault.is_relative_to(there) or there.is_relative_to(vault):
        raise INSIDE.error(file=text, expected="another disk or stick", found=str(vault))
    return str(folder)


@contextmanager
def opened(address: str, vault: Vault) -> Iterator[Store]:
    """Open the store at an address for as long as the block runs."""
    parsed = parse(address)
    if parsed.scheme in SFTP:
        _quiet()
    store = open_store(parsed, vault.writer, ssh_terms())
    try:
        yield store
    finally:
        store.close()


def ssh_terms() -> SshTerms:
    """Return the user's own files for ssh, and the system's known hosts."""
    own = Path.home() / ".ssh"
    known = (own / "known_hosts", Path("/etc/ssh/ssh_known_hosts"))
    return SshTerms(known, tuple(own / name for name in KEYS))


def _quiet() -> None:
    """Keep the ssh library's own messages off the screen; what matters becomes a refusal."""
    import logging  # noqa: PLC0415 - only where a server is called

    library = logging.getLogger("paramiko")
    library.addHandler(logging.NullHandler())
    library.propagate = False


def vessels_of(vault: Vault, place: BackupLocation) -> list[str] | None:
    """Return the handles of the vessels that a place is limited to; None for all.

    One that is not in the vault is told by its identity.
    """
    if place.vessels is None:
        return None
    known = fleet(vault)
    named = {v.handle: v.ids & place.vessels for v in known.vessels if v.ids & place.vessels}
    return [*named, *sorted(place.vessels.difference(*named.values()))]


def also_known(vault: Vault, place: BackupLocation) -> list[str]:
    """Return a note for each vessel that is sent there under some of its identities only."""
    if place.vessels is None:
        return []
    return [
        f"{vessel.handle} is now known under one more identity, which is not sent to {place.name}; "
        f"`parambak place add` with the same name and address sends it too"
        for vessel in fleet(vault).vessels
        if vessel.ids & place.vessels and not vessel.ids <= place.vessels
    ]


def document(vault: Vault, place: BackupLocation) -> dict[str, Any]:
    """Return a place as scripts are told of it."""
    return {
        "place": place.handle,
        "id": place.id,
        "address": place.address,
        "vessels": vessels_of(vault, place),
        "packed": place.packed,
    }
