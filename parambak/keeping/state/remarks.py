"""What people say of differences: remarks on a change, and fields that differ on purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state.bodies import OnPurposeBody, RemarkedBody, sound
from parambak.keeping.state.record_sets import local_time
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from parambak.keeping.state.bodies import ImageEntry
    from parambak.keeping.state.model import Position, Vessel
    from parambak.vault.vault import Vault


class Remark(NamedTuple):
    """One remark: the position's identity, the two images, and what is said; `by` is a mark."""

    position: str
    old: ImageEntry
    new: ImageEntry
    text: str
    ranges: tuple[Range, ...]
    visit: str | None
    by: str | None
    on: date


def remarks_on_record(vault: Vault, vessel: Vessel) -> tuple[Remark, ...]:
    """Return every remark on changes aboard a vessel, in the order of its records."""
    found = []
    for identity in sorted(vessel.ids):
        for stored in vault.records(identity):
            body = sound(stored, RemarkedBody) if stored.record.kind == "remarked" else None
            if body is None:
                continue
            found.append(
                Remark(
                    body.position,
                    body.image_old,
                    body.image_new,
                    body.text,
                    tuple(Range(*each) for each in body.ranges),
                    body.visit,
                    stored.record.by,
                    local_time(stored.record).date(),
                )
            )
    return tuple(found)


def remarks_of_change(
    every: Iterable[Remark], position: Position, old: ImageEntry, new: ImageEntry
) -> tuple[Remark, ...]:
    """Return the remarks on the change of a position from one image to another."""
    mine = (each for each in every if each.position in position.ids)
    return tuple(each for each in mine if (each.old, each.new) == (old, new))


class OnPurpose(NamedTuple):
    """One field of a position that is meant to differ, and why."""

    where: str
    field: str
    reason: str


def on_purpose_marks(vault: Vault, vessel: Vessel) -> tuple[OnPurpose, ...]:
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
