"""Remarks: what a person says of what changed from one image of a position to another."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.visits import the_open_visit
from parambak.keeping.state import select
from parambak.keeping.state.bodies import RemarkedBody, sound
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.record_sets import local_time
from parambak.keeping.state.texts import NAME, REMARK, check_texts
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from parambak.keeping.state.bodies import ImageEntry
    from parambak.keeping.state.known import Copy, Fleet, Position, Vessel, Visit
    from parambak.vault.vault import Vault

MOST_RANGES = 200

REMARK_BY = Fault(
    "remark-by",
    CallRefused,
    "a remark needs a name: nobody can be asked about one without",
    "Give --by NAME, or open a visit with one.",
)


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


def on_record(vault: Vault, vessel: Vessel) -> tuple[Remark, ...]:
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


def of_change(
    every: Iterable[Remark], position: Position, old: ImageEntry, new: ImageEntry
) -> tuple[Remark, ...]:
    """Return the remarks on the change of a position from one image to another."""
    mine = (each for each in every if each.position in position.ids)
    return tuple(each for each in mine if (each.old, each.new) == (old, new))


def remark(  # noqa: PLR0913 - what is told, all by keyword
    vault: Vault,
    where: str,
    *,
    copies: tuple[Copy, Copy],
    text: str,
    ranges: Sequence[Range],
    by: str | None,
) -> None:
    """Put a remark on record, with the visit that is open; raise CallRefused without a name."""
    check_texts([("remark", text, REMARK), ("name of the person", by, NAME)])
    with vault.writing() as writing:
        known = fleet(vault)
        position = select.find_position(known, where)
        vessel = select.vessel_at(known, where)
        visit = _visit(vault, known, vessel)
        home = vessel.home(position.id)
        mark = writing.person(by, home) if by else visit.by if visit is not None else None
        if mark is None:
            raise REMARK_BY.error(expected="--by NAME", found="no name")
        old, new = copies
        body = RemarkedBody(
            position=position.id,
            image_old=old.image,
            image_new=new.image,
            text=text,
            ranges=tuple((each.start, each.length) for each in _few(ranges)),
            visit=visit.id if visit is not None else None,
        )
        needed = dict.fromkeys((old.sha256, new.sha256))
        writing.add("remarked", home, body.members(), by=mark, relies_on=list(needed))


def _visit(vault: Vault, known: Fleet, vessel: Vessel) -> Visit | None:
    found = the_open_visit(known, vault.writer, vessel.handle)
    return found[1] if found is not None else None


def _few(ranges: Sequence[Range]) -> Sequence[Range]:
    """Return the stretches; of too many, the one that holds them all."""
    if len(ranges) <= MOST_RANGES:
        return ranges
    start = min(each.start for each in ranges)
    return [Range(start, max(each.end for each in ranges) - start)]
