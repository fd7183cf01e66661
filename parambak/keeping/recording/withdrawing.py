"""Withdraws records by a new record: what a person names, or the last command of this writer."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import bodies, select
from parambak.keeping.state.counting import counting, withdrawals_in
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.record_sets import local_time
from parambak.keeping.state.record_words import (
    DIGITS,
    MOST_SHOWN,
    reads_named,
    summary,
    swap_positions,
    words_of,
)
from parambak.keeping.state.visits import the_open_visit
from parambak.vault.check.sound import require_sound
from parambak.vault.vault_toml import FIRST

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from parambak.keeping.state.model import Fleet, Read, Vessel
    from parambak.vault.vault import Stored, Vault, Writing

MOST_NAMED = 4096  # records that one record withdraws; more take several
WITHDRAW_WHERE = Fault(
    "withdraw-where",
    CallRefused,
    "a whole vessel is not withdrawn at once",
    "Name a unit, a position or a copy, as in `parambak withdraw grebe/port-thruster/U12@latest`.",
)
WITHDRAW_BY = Fault(
    "withdraw-by",
    CallRefused,
    "a withdrawal needs the name of the person who makes it",
    "Give --by NAME, or open a visit with --by NAME.",
)
WITHDRAW_ONE = Fault(
    "withdraw-several",
    CallRefused,
    "more than one of --read, --remark and --measured is given",
    "Withdraw them one after the other.",
)
WITHDRAW_NONE = Fault(
    "withdraw-none",
    NotFound,
    "no such {what} is on record there",
    "Run `parambak history {where}`. Name it by its {by}, or by the first digits of its record.",
)
WITHDRAW_TWO = Fault(
    "withdraw-two",
    CallRefused,
    "more than one {what} has that name",
    "Name the right one by the first eight digits of its record.",
)
UNDO_NOTHING = Fault(
    "undo-nothing",
    NotFound,
    "nothing that was put on record from here is left to take back",
    "Use `parambak withdraw` for what was put on record from another computer.",
)
UNDO_OTHER = Fault(
    "undo-other",
    CallRefused,
    "another command has put something on record since the question",
    "Run `parambak undo` again, and read what it takes back.",
)


STAY = frozenset({bodies.HeldBody.kind, bodies.RecheckBody.kind, bodies.LeftOutBody.kind})
"""Kinds of records that no `undo` takes back: what was on a disk at that time is no slip."""


class Withdrawn(NamedTuple):
    """What was withdrawn, and the vessels as they were before."""

    records: tuple[Stored, ...]
    before: Fleet


class LastCommand(NamedTuple):
    """The records of one command that still count, and its identity.

    `passed` are the kinds of later records that stay, because `undo` takes none of them back.
    """

    command: str
    records: tuple[Stored, ...]
    passed: tuple[str, ...] = ()


def withdraw(  # noqa: PLR0913 - what is withdrawn, and who states it, by keyword
    vault: Vault,
    where: str,
    *,
    reads: Sequence[str],
    remark: str | None,
    measured: str | None,
    by: str | None,
    why: str,
) -> Withdrawn:
    """Withdraw a position, unit or card, a copy's reads, a remark or a measurement.

    Raise VaultDamaged if one of the records, or what it relies on, is not sound.
    """
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    if sum(map(bool, (reads, remark, measured))) > 1:
        raise WITHDRAW_ONE.error(expected="one of them", found="more")
    with vault.writing() as writing:
        ships = fleet(vault)
        vessel = select.vessel_at(ships, where.partition("@")[0])
        mark = _mark(writing, vault, ships, vessel, by)
        chosen = _chosen(vault, ships, where, reads, remark, measured)
        if not chosen:
            raise WITHDRAW_NONE.error(
                what="record", by="name", where=vessel.handle, expected="a record", found="none"
            )
        _write(writing, vault, chosen, mark, why=why)
    return Withdrawn(tuple(chosen), ships)


def _mark(writing: Writing, vault: Vault, ships: Fleet, vessel: Vessel, by: str | None) -> str:
    """Return the mark of the person: named, or else of the visit that is open from here."""
    if by:
        return writing.person(by, vessel.id)
    visit = the_open_visit(ships, vault.writer, vessel.handle)
    if visit is None or visit[1].by is None:
        raise WITHDRAW_BY.error(expected="--by NAME", found="no name")
    return visit[1].by


def _chosen(  # noqa: PLR0913, PLR0917 - what a person names
    vault: Vault,
    ships: Fleet,
    where: str,
    reads: Sequence[str],
    remark: str | None,
    measured: str | None,
) -> list[Stored]:
    if "@" in where or reads:
        return _records_of_reads(vault, named_reads(ships, where, reads))
    if remark is not None:
        return [_remark(vault, ships, where, remark)]
    if measured is not None:
        return [_measurement(vault, ships, where, measured)]
    return _whole(vault, ships, where)


def named_reads(ships: Fleet, where: str, names: Sequence[str]) -> tuple[Read, ...]:
    """Return the reads of a COPY, all that one `archive` kept; or those named."""
    if "@" in where:
        position, copy = select.find_copy(ships, where)
        return reads_named(position, copy, names)
    return reads_named(select.find_position(ships, where), None, names)


def records_with(vault: Vault, vessel: str | None, digests: Iterable[str]) -> list[Stored]:
    """Return these of the records about a vessel, in their order."""
    named = set(digests)
    return [stored for stored in vault.records(vessel) if stored.digest in named]


def _records_of_reads(vault: Vault, reads: Sequence[Read]) -> list[Stored]:
    records = []
    for vessel in dict.fromkeys(read.vessel for read in reads):
        records += records_with(vault, vessel, (r.record for r in reads if r.vessel == vessel))
    return [*records, *_other_moves(vault, records)]


def _other_moves(vault: Vault, reads: Sequence[Stored]) -> Iterator[Stored]:
    """Yield the moves to these reads from another vessel, if the read was moved elsewhere too."""
    for stored, body in bodies.of_kind(reads, bodies.ReadBody):
        if body.moved_from is not None:
            moves = withdrawals_in(vault, body.moved_from.vessel).get(body.moved_from.record, [])
            mine = [move.stored for move in moves if move.body.moved_to == stored.digest]
            if len(moves) > len(mine):
                yield from mine


def _aboard(ships: Fleet, where: str) -> tuple[Vessel, frozenset[str]]:
    """Return the vessel, and the identities of what a WHERE or the unit of one names."""
    parts = select.parse_where(where)
    vessel = select.find_vessel(ships, parts.vessel)
    if parts.holder is None:
        raise WITHDRAW_WHERE.error(expected="VESSEL/UNIT", found=repr(where[:80]))
    if parts.position is not None:
        return vessel, select.find_position(ships, where).ids
    holder = select.find_holder(vessel, parts.holder)
    return vessel, holder.ids.union(*(position.ids for position in holder.positions))


def _remark(vault: Vault, ships: Fleet, where: str, name: str) -> Stored:
    vessel, ids = _aboard(ships, where)
    of_kind = bodies.of_kind(_all(vault, vessel), bodies.RemarkedBody)
    there = [(stored, body) for stored, body in of_kind if body.position in ids]
    found = [
        stored
        for stored, body in there
        if body.text.casefold().startswith(name.casefold()) or _is(stored, name)
    ]
    return _the_one(found, [stored for stored, _ in there], "remark", "first words", where, name)


def _measurement(vault: Vault, ships: Fleet, where: str, name: str) -> Stored:
    vessel, ids = _aboard(ships, where)
    of_kind = bodies.of_kind(_all(vault, vessel), bodies.MeasuredBody)
    there = [(stored, body) for stored, body in of_kind if body.about in ids]
    found = [
        stored
        for stored, body in there
        if name == (body.on or local_time(stored.record).date().isoformat()) or _is(stored, name)
    ]
    return _the_one(found, [stored for stored, _ in there], "measurement", "day", where, name)


def _all(vault: Vault, vessel: Vessel) -> Iterator[Stored]:
    for identity in sorted(vessel.ids):
        yield from counting(vault, identity)


def _is(stored: Stored, typed: str) -> bool:
    return len(typed) >= DIGITS and stored.digest.startswith(typed.casefold())


def _the_one(  # noqa: PLR0913, PLR0917 - the parts of the refusal
    found: Sequence[Stored], there: Sequence[Stored], what: str, by: str, where: str, name: str
) -> Stored:
    if len(found) == 1:
        return found[0]
    listed = "; ".join(
        f"{words_of(s)} ({s.digest[:DIGITS]})" for s in (found or there)[:MOST_SHOWN]
    )
    fault = WITHDRAW_TWO if found else WITHDRAW_NONE
    raise fault.error(
        what=what, by=by, where=where, expected=listed or "one on record", found=repr(name[:80])
    )


def _whole(vault: Vault, ships: Fleet, where: str) -> list[Stored]:
    """Return every record that counts of a position, or of a unit or card with its positions."""
    vessel, ids = _aboard(ships, where)
    positions = [position for position in vessel.positions if position.ids <= ids]
    reads = {read.record for position in positions for read in position.reads}
    records = list(_all(vault, vessel))
    swaps = {swap for swap, position in swap_positions(records).items() if position in ids}
    names = ids | swaps
    ended = {
        s.record.command
        for s, b in bodies.of_kind(records, bodies.SwapClosedBody)
        if b.swap in swaps
    }
    return [
        stored
        for stored in records
        if stored.digest in reads
        or (stored.record.kind != bodies.ReadBody.kind and bodies.names_one_of(stored, names))
        or (
            stored.record.kind == bodies.CorrectBody.kind
            and stored.record.command in ended - {None}
        )
    ]


def _write(  # noqa: PLR0913 - the records, and who states it, by keyword
    writing: Writing,
    vault: Vault,
    chosen: Sequence[Stored],
    mark: str | None,
    *,
    why: str | None,
    undo: bool = False,
) -> None:
    """Write what withdraws these records, for each vessel's own."""
    require_sound(vault, chosen)
    for vessel in dict.fromkeys(stored.record.vessel for stored in chosen):
        of_vessel = [stored for stored in chosen if stored.record.vessel == vessel]
        for start in range(0, len(of_vessel), MOST_NAMED):
            named = of_vessel[start : start + MOST_NAMED]
            words = "; ".join(words_of(stored) for stored in named[:MOST_SHOWN])
            more = f"; and {len(named) - MOST_SHOWN} more" if len(named) > MOST_SHOWN else ""
            body = bodies.WithdrawnBody(
                records=tuple(stored.digest for stored in named),
                what=f"{words[: REMARK - 40]}{more}",
                why=why,
                undo=undo,
            )
            writing.add(body.kind, vessel, body.members(), by=mark)


def last_command(vault: Vault, *, redo: bool = False) -> LastCommand:
    """Return the last command of this writer of which records still count.

    What `undo` wrote is passed over; with `redo`, it is the last of these. So are the records of
    backups and checks. Raise NotFound.
    """
    writer = vault.writer
    last = ""
    records: list[Stored] = []
    passed: list[tuple[str, str]] = []
    for vessel in (None, *vault.vessels()):
        withdrawn = withdrawals_in(vault, vessel)
        for stored in vault.records(vessel):
            command = stored.record.command or ""
            if stored.record.writer != writer or command < (last or "0") or _undone(stored) != redo:
                continue
            if stored.record.kind == FIRST or stored.digest in withdrawn:
                continue
            if stored.record.kind in STAY:
                passed.append((command, stored.record.kind))
                continue
            if command != last:
                records.clear()
            records.append(stored)
            last = command
    if not last:
        raise UNDO_NOTHING.error(expected="a record of this user", found="none")
    later = sorted({kind for command, kind in passed if command > last})
    return LastCommand(last, tuple(records), tuple(later))


def _undone(stored: Stored) -> bool:
    body = stored.record.body
    return stored.record.kind == bodies.WithdrawnBody.kind and body.get("undo") is True


def undo(
    vault: Vault, *, command: str | None, by: str | None, why: str | None, redo: bool
) -> tuple[str, tuple[str, ...], Withdrawn]:
    """Withdraw the records of the last command; return it in words, and what was withdrawn.

    Between them are the kinds of later records that stay.

    With a `command`, it must be that one. Raise NotFound, CallRefused or VaultDamaged.
    """
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        last = last_command(vault, redo=redo)
        if command is not None and last.command != command:
            raise UNDO_OTHER.error(expected=f"command {command[:12]}", found=last.command[:12])
        ships = fleet(vault)
        mark = writing.person(by, last.records[0].record.vessel) if by else None
        words = summary(last.records, ships)
        _write(writing, vault, last.records, mark, why=why, undo=not redo)
    return words, last.passed, Withdrawn(last.records, ships)


def counting_again(vault: Vault, taken_back: Withdrawn) -> list[Stored]:
    """Return the records that withdrawals named, when these withdrawals are taken back."""
    again = []
    for stored, body in bodies.of_kind(taken_back.records, bodies.WithdrawnBody):
        again += records_with(vault, stored.record.vessel, body.records)
    return again
