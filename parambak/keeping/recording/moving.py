"""Corrects reads: moves them to another position, also of another vessel, or dates them.

A read that is moved to another vessel is written again there, and its first record is withdrawn:
each vessel's records must be complete alone. The new record is written first. After an interruption
the read is at both rather than at none, and the same command again completes the move.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from msgspec.structs import replace

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.filing import TypedPosition, file_under
from parambak.keeping.recording.texts import check_date
from parambak.keeping.recording.withdrawing import named_reads, records_with
from parambak.keeping.state import select
from parambak.keeping.state.bodies import (
    CorrectBody,
    Entity,
    Facts,
    MovedFrom,
    ReadBody,
    WithdrawnBody,
    body_of,
    of_kind,
)
from parambak.keeping.state.counting import counting_of_kind
from parambak.keeping.state.record_words import words_of
from parambak.memory.counted import counted
from parambak.vault.check.sound import require_sound

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from parambak.keeping.recording.filing import Filing
    from parambak.keeping.state.model import Fleet, Read, Vessel
    from parambak.vault.vault import Stored, Vault, Writing

READ_FACTS = ("read_on", "position", "remark")
CORRECT_NOTHING = Fault(
    "correct-nothing",
    CallRefused,
    "there is nothing to put on record",
    "Give at least one fact; `parambak correct --help` lists them.",
)
CORRECT_FACT = Fault(
    "correct-fact",
    CallRefused,
    "a {what} has no such fact",
    "Name the vessel, unit, position or copy (with @) that the fact belongs to.",
)
CORRECT_READ_BACK = Fault(
    "correct-read-back",
    CallRefused,
    "a read-back belongs to its swap, and is not moved or dated",
    "Name other reads with --read. Withdraw a wrong one with `parambak withdraw`.",
)
CORRECT_THERE = Fault(
    "correct-there-already",
    CallRefused,
    "the reads are at that position already",
    "Give the position that they belong to.",
)


class Confirmed(NamedTuple):
    """Which names a person confirmed to be new, although they are similar to others."""

    vessel: bool = False
    unit: bool = False
    position: bool = False


NONE_CONFIRMED = Confirmed()


class Corrected(NamedTuple):
    """What was corrected: in words, warnings, what is new, and the facts as typed.

    Of reads also their position before, the records that they have now, and what each is in words.
    """

    about: str
    warnings: tuple[str, ...] = ()
    made: tuple[str, ...] = ()
    facts: Mapping[str, str] = {}
    before: str | None = None
    records: tuple[tuple[str, str], ...] = ()


class _Correction(NamedTuple):
    """The correction of some reads: who states it, and why."""

    vault: Vault
    writing: Writing
    by: str | None
    why: str | None

    def mark(self, vessel: str) -> str | None:
        return self.writing.person(self.by, vessel) if self.by else None

    def add(self, vessel: str, body: CorrectBody | WithdrawnBody) -> None:
        self.writing.add(body.kind, vessel, body.members(), by=self.mark(vessel))


def correct_reads(  # noqa: PLR0913 - the reads, the facts, and who states them
    vault: Vault,
    writing: Writing,
    ships: Fleet,
    where: str,
    facts: Mapping[str, str],
    *,
    names: Sequence[str],
    confirmed: Confirmed,
    by: str | None,
    why: str | None,
) -> Corrected:
    """Put facts of reads on record: of all that one `archive` kept, or of those named.

    Raise VaultDamaged if a read, or what it relies on, is not sound.
    """
    reads = named_reads(ships, where, names)
    at = select.find_position(ships, where.partition("@")[0])
    checked = _checked(facts)
    records = [s for r in reads for s in records_with(vault, r.vessel, (r.record,))]
    if any(stored.record.kind != ReadBody.kind for stored in records):
        raise CORRECT_READ_BACK.error(expected="reads", found="a read-back of a swap")
    require_sound(vault, records)
    correction = _Correction(vault, writing, by, why)
    about = f"{counted(len(reads), 'read')} of {at.where}"
    shown = {**facts}
    made: tuple[str, ...] = ()
    written = [(read.record, words_of(s)) for read, s in zip(reads, records, strict=True)]
    if "position" in facts:
        filing = _target(ships, facts["position"], at.ids, records, confirmed)
        made, shown["position"] = filing.made, filing.where
        vessel = select.vessel_at(ships, at.where)
        if filing.vessel not in vessel.ids:
            digests = _move_away(correction, ships, reads, records, filing, checked)
            written = [(digest, words) for digest, (_, words) in zip(digests, written, strict=True)]
            return Corrected(about, (), made, shown, at.where, tuple(written))
        checked["position"] = filing.id
    new = filing.new if "position" in facts else ()
    for read in reads:
        body = CorrectBody(what="read", id=read.record, facts=checked, why=why, new=new)
        correction.add(read.vessel, body)
        new = ()
    return Corrected(about, (), made, shown, at.where, tuple(written))


def _checked(facts: Mapping[str, str]) -> Facts:
    """Return the facts of reads as they go on record, except the position."""
    if not facts:
        raise CORRECT_NOTHING.error(expected="a fact", found="none")
    for name in facts:
        if name not in READ_FACTS:
            raise CORRECT_FACT.error(what="read", expected=" or ".join(READ_FACTS), found=name)
    checked: Facts = {name: value for name, value in facts.items() if name != "position"}
    if "read_on" in facts:
        checked["read_on"] = check_date(facts["read_on"])
    return checked


def _target(
    ships: Fleet,
    where: str,
    before: frozenset[str],
    records: Iterable[Stored],
    confirmed: Confirmed,
) -> Filing:
    """Return where reads go: what is new is made, with the chip that came in with them."""
    parts = select.parse_where(where)
    if parts.holder is None or parts.position is None:
        expected = "VESSEL/UNIT/POSITION"
        raise select.WHERE_SHAPE.error(expected=expected, found=repr(where[: select.MOST_TYPED]))
    on_card = parts.holder.casefold().startswith(select.CARD)
    typed = TypedPosition(
        vessel=parts.vessel,
        position=parts.position,
        unit=None if on_card else parts.holder,
        card=parts.holder[len(select.CARD) :] if on_card else None,
        new_vessel=confirmed.vessel,
        new_unit=confirmed.unit,
        new_position=confirmed.position,
    )
    filing = file_under(ships, typed)
    if filing.id in before:
        raise CORRECT_THERE.error(expected="another position", found=filing.where)
    came_in = [entity for stored in records for entity in _positions_in(stored, before)]
    for entity in came_in if filing.chip is None and filing.size is None else ():
        chip, size = str(entity.facts.get("chip", "")), str(entity.facts.get("size", ""))
        stated = replace(typed, chip=chip or None, size=int(size) if size.isdecimal() else None)
        return file_under(ships, stated)
    return filing


def _positions_in(stored: Stored, ids: frozenset[str]) -> list[Entity]:
    body = body_of(stored.record, stored.digest, ReadBody)
    return [entity for entity in body.new if entity.id in ids and entity.inside]


def _move_away(  # noqa: PLR0913, PLR0917 - the reads, where they go, and what changes with it
    correction: _Correction,
    ships: Fleet,
    reads: Sequence[Read],
    records: Sequence[Stored],
    filing: Filing,
    facts: Facts,
) -> list[str]:
    """Write reads again at another vessel, and withdraw their first records."""
    there = next((v for v in ships.vessels if filing.vessel in v.ids), None)
    digests: dict[str, str] = {}
    new = filing.new
    for read, stored in zip(reads, records, strict=True):
        body = _moved(read, stored, filing, facts, there)
        made_of = tuple(digests.get(digest, digest) for digest in body.reconstructed_from)
        body = replace(body, new=new, reconstructed_from=made_of)
        digests[read.record] = _written_before(correction.vault, body, filing) or (
            correction.writing.add(
                body.kind,
                filing.vessel,
                body.members(),
                by=correction.mark(filing.vessel),
                relies_on=stored.record.objects,
            )
        )
        new = ()
    for stored in records:
        withdrawn = WithdrawnBody(
            records=(stored.digest,),
            what=words_of(stored),
            why=correction.why,
            moved_to=digests[stored.digest],
        )
        correction.add(stored.record.vessel or "", withdrawn)
    return [digests[read.record] for read in reads]


def _moved(
    read: Read, stored: Stored, filing: Filing, facts: Facts, there: Vessel | None
) -> ReadBody:
    """Return a read as it is at another vessel, with all that was corrected of it."""
    body = body_of(stored.record, stored.digest, ReadBody)
    first = body.moved_from
    record = stored.record
    return replace(
        body,
        position=filing.id,
        read_on=facts.get("read_on") or (read.read_on.isoformat() if read.stated else None),
        remark=facts.get("remark", read.remark),
        visit=_visit_of(read, there),
        moved_from=MovedFrom(
            vessel=record.vessel or "",
            record=stored.digest,
            clock=first.clock if first else record.clock,
            writer=first.writer if first else record.writer,
            by=first.by if first else record.by,
        ),
    )


def _visit_of(read: Read, there: Vessel | None) -> str | None:
    """Return the visit to the other vessel that was open from that laptop when it was archived."""
    day = read.taken_in.date().isoformat()
    visits = there.visits if there is not None else ()
    fitting = [
        visit.id
        for visit in visits
        if visit.writer == read.writer and visit.on <= day <= (visit.closed or day)
    ]
    return fitting[-1] if fitting else None


def _written_before(vault: Vault, body: ReadBody, filing: Filing) -> str | None:
    """Return the record of this move that an interrupted command left; None without one."""
    if filing.position is None or body.moved_from is None:
        return None
    for stored, other in of_kind(counting_of_kind(vault, filing.vessel, body.kind), ReadBody):
        same = other.moved_from is not None and other.moved_from.record == body.moved_from.record
        if same and other.position == filing.id:
            return stored.digest
    return None
