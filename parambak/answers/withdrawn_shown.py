"""What `withdraw`, `correct` and `undo` show: the records, what is left, what was withdrawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Part
from parambak.keeping.state import select
from parambak.keeping.state.counting import withdrawals_in
from parambak.keeping.state.fold import Folding
from parambak.keeping.state.record_sets import local_time
from parambak.keeping.state.record_words import swap_positions, where_of, wheres, words_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from parambak.answers.session import Session
    from parambak.keeping.state.counting import Withdrawal
    from parambak.keeping.state.model import Fleet, Vessel
    from parambak.vault.vault import Stored


class WithdrawnShown(Part, frozen=True):
    """A record that was withdrawn: its digest, its kind, where it was, and the record in words."""

    record: str
    kind: str
    where: str | None
    text: str


class LeftShown(Part, frozen=True):
    """What still counts at a position: its copies and reads, both 0 if it is no longer there.

    `verified` is whether the newest copy that is left is verified; `unmet` is what it misses.
    """

    where: str
    copies: int
    reads: int
    verified: bool
    unmet: tuple[str, ...]


class WithdrawnRecord(Part, frozen=True):
    """A record that no longer counts; when, by whom and why it was withdrawn.

    With `moved_to`, it is a read that is at this position of another vessel now.
    """

    record: str
    kind: str
    where: str | None
    text: str
    withdrawn_on: str
    withdrawn_by: str | None
    reason: str | None
    moved_to: str | None


def withdrawn_shown(
    session: Session, records: Iterable[Stored], before: Fleet
) -> tuple[WithdrawnShown, ...]:
    """Return the records that were withdrawn, with the names that were in force before."""
    records = tuple(records)
    names = _names(before, records)
    swaps = _swaps(session, records)
    return tuple(
        WithdrawnShown(s.digest, s.record.kind, where_of(s, names, swaps), words_of(s))
        for s in records
    )


def _names(fleet: Fleet, records: Sequence[Stored]) -> dict[str, str]:
    about = {stored.record.vessel for stored in records}
    names: dict[str, str] = {}
    for vessel in fleet.vessels:
        if not vessel.ids.isdisjoint(about):
            names |= wheres(vessel)
    return names


def _swaps(session: Session, records: Sequence[Stored]) -> dict[str, str]:
    swaps: dict[str, str] = {}
    for vessel in dict.fromkeys(s.record.vessel for s in records if "swap" in s.record.body):
        swaps |= swap_positions(session.vault.records(vessel))
    return swaps


def left_at(session: Session, wheres: Iterable[str | None]) -> tuple[LeftShown, ...]:
    """Return what still counts at these positions; what names no position is passed over."""
    positions = {p.where: p for vessel in session.fleet().vessels for p in vessel.positions}
    left = []
    for where in dict.fromkeys(wheres):
        if where is not None and where.count("/") == 2:
            position = positions.get(where)
            if position is None or not position.copies:
                left.append(LeftShown(where, 0, 0, verified=False, unmet=()))
                continue
            verdict = session.assessor.verdict(position, position.copies[-1])
            copies, reads = len(position.copies), len(position.reads)
            unmet = tuple(condition.text for condition in verdict.unmet)
            left.append(LeftShown(where, copies, reads, verdict.verified, unmet))
    return tuple(left)


def withdrawn_at(session: Session, where: str) -> tuple[WithdrawnRecord, ...]:
    """Return what was withdrawn at a WHERE or a part of it, also if nothing is left there.

    Raise NotFound or CallRefused if no record ever named it.
    """
    as_recorded = Folding(session.vault, as_recorded=True).fleet()
    vessel = select.vessel_at(as_recorded, where)
    parts = select.parse_where(where)
    inside = vessel.handle
    if parts.position is not None:
        inside = select.find_position(as_recorded, where).where
    elif parts.holder is not None:
        inside = select.find_holder(vessel, parts.holder).where
    return tuple(
        record
        for record in _withdrawn_of(session, vessel, as_recorded)
        if f"{record.where or vessel.handle}/".startswith(f"{inside}/")
    )


def _withdrawn_of(session: Session, vessel: Vessel, fleet: Fleet) -> Iterator[WithdrawnRecord]:
    names = wheres(vessel)
    for identity in sorted(vessel.ids):
        withdrawn = withdrawals_in(session.vault, identity)
        records = session.vault.records(identity)
        swaps = swap_positions(records)
        for stored in records:
            if stored.digest in withdrawn:
                where = where_of(stored, names, swaps)
                yield _record(session, stored, where, withdrawn[stored.digest][0], fleet)


def _record(
    session: Session, stored: Stored, where: str | None, withdrawal: Withdrawal, fleet: Fleet
) -> WithdrawnRecord:
    by, body = withdrawal.stored.record.by, withdrawal.body
    moved_to = body.moved_to
    return WithdrawnRecord(
        stored.digest,
        stored.record.kind,
        where,
        words_of(stored),
        local_time(withdrawal.stored.record).date().isoformat(),
        session.assessor.person(by) if by is not None else None,
        body.why,
        _where_of_read(fleet, moved_to) if moved_to is not None else None,
    )


def _where_of_read(fleet: Fleet, record: str) -> str | None:
    for vessel in fleet.vessels:
        for position in vessel.positions:
            if any(read.record == record for read in position.reads):
                return position.where
    return None
