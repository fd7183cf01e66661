"""Which records about a vessel are lost, and how that is seen: from the files at this moment."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import LeftOutBody, LossAcceptedBody
from parambak.keeping.state.counting import counting_of_kind
from parambak.keeping.state.unsettled import LostRecord
from parambak.memory.digests import sha256
from parambak.vault import vault_toml
from parambak.vault.faults import FIRST_RECORD_MISSING

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.keeping.state.model import Fleet
    from parambak.keeping.state.unsettled import AcceptedLoss
    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault

MISSING = "is missing, and a later record names it"
CUT = "is missing: this laptop wrote or saw it as the newest one in this vault"
DAMAGED = "is damaged, and a later record names it"
NO_FIRST = "is without the vault's first record: that is missing, and others may be missing too"
CHANGED = "is not as the vault's first record has it"
UNPLACED = "is damaged, and nothing shows which vessel it is about"


def lost_records(vault: Vault, identity: str | None, stored: Sequence[Stored]) -> list[LostRecord]:
    """Return the lost records about a vessel identity, or about the vault itself.

    `stored` are its records that are in the vault. Every file of them is read and hashed.
    """
    lost: dict[str, str] = {}
    digests = {s.digest for s in stored}
    unread = vault.unread
    for digest in sorted({parent for s in stored for parent in s.record.after} - digests):
        lost[digest] = DAMAGED if digest in unread else MISSING
    for digest in vault.cut(identity):
        lost.setdefault(digest, f"is damaged: {unread[digest]}" if digest in unread else CUT)
    for digest, why in vault.unsound(identity).items():
        lost[digest] = f"is damaged: {why}"
    for s, body in bodies.of_kind(stored, LeftOutBody):
        for digest, why in _left_out(vault, s, body):
            lost.setdefault(digest, why)
    own = _unproven(vault) if identity is None else []
    return [*own, *(LostRecord(digest, why) for digest, why in lost.items())]


def _unproven(vault: Vault) -> list[LostRecord]:
    """Return vault.toml if no first record of the vault proves it."""
    data = vault_toml.read(vault.root) if vault.vessels() else None
    if data is None:
        return []
    doubt = vault_toml.doubt_of(data, vault.identity, vault.of_kind(None, vault_toml.FIRST))
    why = NO_FIRST if doubt == FIRST_RECORD_MISSING else CHANGED
    return [LostRecord(sha256(data), why, vault_toml.FILE)] if doubt is not None else []


def _left_out(vault: Vault, stored: Stored, body: LeftOutBody) -> Iterator[tuple[str, str]]:
    """Yield each record that a source held, that did not come in, and that is not here."""
    if body.unread:
        yield stored.digest, f"states that not all of {body.source} could be read"
    for digest in body.records:
        if not vault.holds(digest):
            yield digest, f"was left out when {body.source} was taken in"


def unplaced(vault: Vault) -> list[LostRecord]:
    """Return the damaged records of which nothing shows what they are about."""
    unread = set(vault.unread)
    if unread:
        unread.difference_update(vault.missing_records())
        for identity in (None, *vault.vessels()):
            unread.difference_update(vault.cut(identity))
    return [LostRecord(digest, UNPLACED) for digest in sorted(unread)]


def unseen_losses(vault: Vault) -> list[LostRecord]:
    """Return the lost records that no file here shows: this user's note or a source names them."""
    lost = {d: CUT for v in (None, *vault.vessels()) for d in vault.cut(v)}
    for identity in vault.vessels_with(LeftOutBody.kind):
        for stored, body in bodies.of_kind(vault.of_kind(identity, LeftOutBody.kind), LeftOutBody):
            lost.update((d, why) for d, why in _left_out(vault, stored, body) if d not in lost)
    return [LostRecord(digest, why) for digest, why in sorted(lost.items())]


def settled_losses(vault: Vault, fleet: Fleet) -> dict[str, AcceptedLoss]:
    """Return the lost files, by digest, whose loss is accepted at every position it concerns."""
    accepting = set(vault.vessels_with(LossAcceptedBody.kind))
    if not accepting:
        return {}
    everywhere = {record.digest for record in lost_records(vault, None, vault.records(None))}
    everywhere.update(record.digest for record in unplaced(vault))
    settled: dict[str, AcceptedLoss] = {}
    still_open: set[str] = set()
    for vessel in fleet.vessels:
        if not vessel.ids & accepting:
            still_open |= everywhere
            continue
        for loss in vessel.aboard.unsettled.accepted:
            settled.update(dict.fromkeys((*loss.records, *loss.objects), loss))
        still_open.update(r.digest for p in vessel.positions for r in p.unsettled.lost)
        vessel.forget()
    return {digest: loss for digest, loss in settled.items() if digest not in still_open}


def accepted_anywhere(vault: Vault) -> frozenset[str]:
    """Return the digests of the files whose loss a person accepted for some position."""
    kind = LossAcceptedBody.kind
    return frozenset(
        digest
        for identity in vault.vessels_with(kind)
        for _, body in bodies.of_kind(counting_of_kind(vault, identity, kind), LossAcceptedBody)
        for digest in (*body.records, *body.objects)
    )
