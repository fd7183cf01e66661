"""What differs from units alike on purpose: marked once, with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state import select
from parambak.keeping.state.bodies import OnPurposeBody, sound
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.texts import NAME, REMARK, check_texts

if TYPE_CHECKING:
    from parambak.keeping.state.known import Position, Vessel
    from parambak.vault.vault import Vault


class OnPurpose(NamedTuple):
    """One field of a position that is meant to differ, and why."""

    where: str
    field: str
    reason: str


def marks(vault: Vault, vessel: Vessel) -> tuple[OnPurpose, ...]:
    """Return what differs on purpose aboard a vessel, by position and field."""
    where = {identity: p.where for p in vessel.positions for identity in p.ids}
    found: dict[tuple[str, str], OnPurpose] = {}
    for identity in sorted(vessel.ids):
        for stored in vault.records(identity):
            told = stored.record.kind == "on-purpose"
            body = sound(stored, OnPurposeBody) if told else None
            at = where.get(body.position) if body is not None else None
            if body is not None and at is not None:
                key = (at, body.field)
                found.pop(key, None)
                if not body.withdrawn:
                    found[key] = OnPurpose(at, body.field, body.reason)
    return tuple(sorted(found.values()))


def mark(  # noqa: PLR0913 - what is told, all by keyword
    vault: Vault, where: str, *, field: str, reason: str, by: str | None, withdrawn: bool
) -> Position:
    """Put on record that a field differs on purpose, or is to be looked at again."""
    texts = [("field", field, NAME), ("reason", reason, REMARK)]
    check_texts([*texts, ("name of the person", by, NAME)])
    with vault.writing() as writing:
        known = fleet(vault)
        position = select.find_position(known, where)
        vessel = select.vessel_at(known, where)
        for identity in sorted(position.ids):
            home = vessel.home(identity)
            body = OnPurposeBody(position=identity, field=field, reason=reason, withdrawn=withdrawn)
            by_mark = writing.person(by, home) if by else None
            writing.add("on-purpose", home, body.members(), by=by_mark)
    return position
