"""What records are about, in words: for lists of what was withdrawn, and of what may be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault, NotFound
from parambak.keeping.state import bodies
from parambak.keeping.state.record_sets import local_time
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from parambak.keeping.state.model import Copy, Fleet, Position, Read, Vessel
    from parambak.vault.vault import Stored

DIGITS = 8  # of a record's digest, at least, where a person types it
MOST_SHOWN = 5
READ_NONE = Fault(
    "read-none",
    NotFound,
    "no such read at that position",
    "Name a read by its dump file, or by the first eight digits of its record.",
)
READ_TWO = Fault(
    "read-two",
    CallRefused,
    "more than one read has that name",
    "Name the right one by the first eight digits of its record.",
)


def reads_named(position: Position, copy: Copy | None, names: Sequence[str]) -> tuple[Read, ...]:
    """Return the reads with these names: dump files, or first digits of records.

    With a copy, they are among those that one `archive` kept with its newest read; all of these
    without a name. Raise NotFound or CallRefused.
    """
    reads = position.reads
    if copy is not None:
        reads = tuple(read for read in reads if read.call == copy.newest.call)
    if not names:
        return reads
    named = {read.record: read for name in names for read in _named(position, reads, name)}
    return tuple(named.values())


def _named(position: Position, reads: Iterable[Read], name: str) -> list[Read]:
    typed = name.casefold()
    matches = [
        read
        for read in reads
        if typed in {dump.name.casefold() for dump in read.dumps}
        or (len(typed) >= DIGITS and read.record.startswith(typed))
    ]
    if len(matches) == 1:
        return matches
    fault = READ_TWO if matches else READ_NONE
    shown = [read_words(read) for read in matches or reads]
    listed = "; ".join(shown[:MOST_SHOWN]) or "a read"
    raise fault.error(expected=f"{listed}, of {position.where}", found=repr(name[:80]))


def read_words(read: Read) -> str:
    """Return a read in words, with the first digits of its record."""
    names = " and ".join(dump.name for dump in read.dumps) or "made by a vote"
    return f"read {names} of {read.read_on} ({read.record[:DIGITS]})"


def wheres(vessel: Vessel) -> dict[str, str]:
    """Return WHERE, by the identity of everything aboard a vessel and by each read's record."""
    names = dict.fromkeys(vessel.ids, vessel.handle)
    for holder in vessel.holders:
        names.update(dict.fromkeys(holder.ids, holder.where))
    for position in vessel.positions:
        names.update(dict.fromkeys(position.ids, position.where))
        names.update((read.record, position.where) for read in position.reads)
    return names


def swap_positions(records: Iterable[Stored]) -> dict[str, str]:
    """Return the identity of each swap's position, by that of the swap."""
    opened = bodies.of_kind(records, bodies.SwapOpenedBody)
    return {body.swap: body.position for _, body in opened}


def where_of(stored: Stored, names: Mapping[str, str], swaps: Mapping[str, str]) -> str | None:
    """Return the WHERE that a record is about, by `wheres` and `swap_positions`."""
    body = stored.record.body
    named = [
        stored.digest,
        *(body.get(name) for name in ("position", "about", "unit", "card", "id")),
    ]
    named += [swaps.get(str(body.get("swap"))), *body.get("units", ())]
    named += [entity.get("id") for entity in reversed(body.get("new", ()))]
    named += [stored.record.vessel]
    return next((names[key] for key in named if isinstance(key, str) and key in names), None)


def words_of(stored: Stored) -> str:
    """Return a record in words: its kind, and what a person recognises it by."""
    record = stored.record
    kind = bodies.KINDS.get(record.kind)
    body = bodies.sound(stored, kind) if kind is not None else None
    day = local_time(record).date()
    match body:
        case bodies.ReadBody() | bodies.ReadBackBody():
            names = " and ".join(dump.name for dump in body.dumps) or "made by a vote"
            return f"{_kind(record.kind)} {names}, put on record on {day}"
        case bodies.RemarkedBody():
            return f"remark of {day}: {body.text}"
        case bodies.MeasuredBody():
            readings = ", ".join(reading.name for reading in body.readings)
            return f"measurement of {body.on or day}: {readings}"
        case bodies.WithdrawnBody():
            return f"withdrawal of {day}: {body.what}"
        case _:
            return f"{_kind(record.kind)}, put on record on {day}"


def _kind(kind: str) -> str:
    return kind.replace("-", " ")


def summary(records: Sequence[Stored], fleet: Fleet) -> str:
    """Return the records of one command in words: kinds with their numbers, and about what."""
    kinds: dict[str, int] = {}
    names: dict[str, str] = {}
    for vessel in fleet.vessels:
        if any(stored.record.vessel in vessel.ids for stored in records):
            names |= wheres(vessel)
    about: dict[str, None] = {}
    for stored in records:
        kinds[stored.record.kind] = kinds.get(stored.record.kind, 0) + 1
        where = where_of(stored, names, {})
        about |= {where: None} if where else {}
    listed = ", ".join(f"{counted(n, 'record')} of kind `{kind}`" for kind, n in kinds.items())
    places = ", ".join([*about][:MOST_SHOWN]) or "the vault"
    return f"{listed}, about {places}, of {local_time(records[0].record):%Y-%m-%d %H:%M}"
