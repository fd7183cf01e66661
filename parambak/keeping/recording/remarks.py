"""Remarks put on record: on what changed, and on a field that differs on purpose."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.bodies import OnPurposeBody, RemarkedBody
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.visits import the_open_visit
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Copy, Fleet, Position, Vessel, Visit
    from parambak.vault.vault import Vault

MOST_RANGES = 200
REMARK_BY = Fault(
    "remark-by",
    CallRefused,
    "a remark needs the name of its author, who can be asked about it later",
    "Give --by NAME, or open a visit with --by NAME.",
)


def record_remark(  # noqa: PLR0913 - the parts of a remark, all by keyword
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
        ships = fleet(vault)
        position = select.find_position(ships, where)
        vessel = select.vessel_at(ships, where)
        visit = _open_visit(vault, ships, vessel)
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
            ranges=tuple((stretch.start, stretch.length) for stretch in _few(ranges)),
            visit=visit.id if visit is not None else None,
            reads=tuple(
                read.record for read in position.reads if read.image in {old.image, new.image}
            ),
        )
        needed = dict.fromkeys((old.sha256, new.sha256))
        writing.add(body.kind, home, body.members(), by=mark, relies_on=list(needed))


def _open_visit(vault: Vault, fleet: Fleet, vessel: Vessel) -> Visit | None:
    visit = the_open_visit(fleet, vault.writer, vessel.handle)
    return visit[1] if visit is not None else None


def _few(ranges: Sequence[Range]) -> Sequence[Range]:
    """Return the ranges; of too many, the one that holds them all."""
    if len(ranges) <= MOST_RANGES:
        return ranges
    start = min(stretch.start for stretch in ranges)
    return [Range(start, max(stretch.end for stretch in ranges) - start)]


def record_on_purpose(  # noqa: PLR0913 - the parts of a mark, all by keyword
    vault: Vault, where: str, *, field: str, reason: str, by: str | None, withdrawn: bool
) -> Position:
    """Put on record that a field differs on purpose, or is to be examined again."""
    texts = [("field", field, NAME), ("reason", reason, REMARK)]
    check_texts([*texts, ("name of the person", by, NAME)])
    with vault.writing() as writing:
        ships = fleet(vault)
        position = select.find_position(ships, where)
        vessel = select.vessel_at(ships, where)
        for identity in sorted(position.ids):
            home = vessel.home(identity)
            body = OnPurposeBody(position=identity, field=field, reason=reason, withdrawn=withdrawn)
            by_mark = writing.person(by, home) if by else None
            writing.add(body.kind, home, body.members(), by=by_mark)
    return position
