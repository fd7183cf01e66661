"""What people recorded of differences: remarks on a change, fields that differ on purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state.bodies import OnPurposeBody, RemarkedBody, of_kind
from parambak.keeping.state.counting import counting
from parambak.keeping.state.record_sets import local_time
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from parambak.keeping.state.bodies import ImageEntry
    from parambak.keeping.state.model import Position, Vessel
    from parambak.vault.vault import Vault


class Remark(NamedTuple):
    """One remark: the position's identity, the two images, and the text; `by` is a mark."""

    position: str
    old: ImageEntry
    new: ImageEntry
    text: str
    ranges: tuple[Range, ...]
    visit: str | None
    by: str | None
    on: date


def remarks_on_record(vault: Vault, vessel: Vessel) -> tuple[Remark, ...]:
    """Return all remarks on changes aboard a vessel, in the order of its records."""
    return tuple(
        Remark(
            body.position,
            body.image_old,
            body.image_new,
            body.text,
            tuple(Range(*stretch) for stretch in body.ranges),
            body.visit,
            stored.record.by,
            local_time(stored.record).date(),
        )
        for identity in sorted(vessel.ids)
        for stored, body in of_kind(counting(vault, identity), RemarkedBody)
    )


def remarks_of_change(
    remarks: Iterable[Remark], position: Position, old: ImageEntry, new: ImageEntry
) -> tuple[Remark, ...]:
    """Return the remarks on the change of a position from one image to another."""
    of_position = (remark for remark in remarks if remark.position in position.ids)
    return tuple(remark for remark in of_position if (remark.old, remark.new) == (old, new))


class OnPurpose(NamedTuple):
    """One field of a position that differs on purpose, and why."""

    where: str
    field: str
    reason: str


def on_purpose_marks(vault: Vault, vessel: Vessel) -> tuple[OnPurpose, ...]:
    """Return what differs on purpose aboard a vessel, by position and field."""
    where = {identity: p.where for p in vessel.positions for identity in p.ids}
    marks: dict[tuple[str, str], OnPurpose] = {}
    for identity in sorted(vessel.ids):
        for _, body in of_kind(counting(vault, identity), OnPurposeBody):
            name = where.get(body.position)
            if name is not None:
                marks.pop((name, body.field), None)
                if not body.withdrawn:
                    marks[name, body.field] = OnPurpose(name, body.field, body.reason)
    return tuple(sorted(marks.values()))
