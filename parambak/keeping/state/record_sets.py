"""The records of one vessel identity, sorted by what they state; and those of one ship together."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import VaultDamaged
from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import body_of, misshapen
from parambak.keeping.state.facts import FactHistory, conflicts
from parambak.keeping.state.unsettled import AcceptedLoss, Conflict
from parambak.vault.order import causal_order

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from parambak.vault.records import Record
    from parambak.vault.vault import Stored


def local_time(record: Record) -> datetime:
    """Return the laptop's clock when the record was written, with its offset."""
    moment = datetime.fromisoformat(record.clock.utc)
    try:
        return moment.astimezone(timezone(timedelta(minutes=record.clock.offset)))
    except OverflowError:  # the first or last day that the calendar holds
        return moment.astimezone(UTC)


class GivenFile(NamedTuple):
    """A file on record: its record, the record's kind, the identity, its digest and its name."""

    record: str
    kind: str
    identity: str
    sha256: str
    name: str


class IdentityRecords:
    """The records of one vessel identity, sorted by what they state.

    `kinds` gives what each entity is (unit, card, position), `inside` what it belongs to;
    `files` are the card sheets and ship's rules, `layouts` those attached without a read.
    `taken_in` are the read-backs that became reads, `unverified` the swaps with a released file of
    a copy that was not verified. `damaged` are the records that cannot be used, each by its file
    and why, `unusable` the same by digest; `accepted` are the losses that a person accepted.
    """

    def __init__(self, identity: str, stored: Sequence[Stored]) -> None:
        self.identity = identity
        self.stored: tuple[Stored, ...] = ()
        self._after: dict[str, tuple[str, ...]] = {}
        self.facts = FactHistory(self._after)
        self.inside: dict[str, str] = {}
        self.kinds: dict[str, str] = {}
        self.reads: list[tuple[Stored, bodies.ReadBody]] = []
        self.files: list[GivenFile] = []
        self.layouts: list[tuple[Stored, bodies.LayoutAttachedBody]] = []
        self.read_backs: dict[str, tuple[Stored, bodies.ReadBackBody]] = {}
        self.taken_in: list[str] = []
        self.unverified: set[str] = set()
        self.accepted: list[AcceptedLoss] = []
        self.damaged: list[tuple[str, str]] = []
        self.unusable: dict[str, str] = {}
        self.extend(tuple(stored))

    def extend(self, stored: tuple[Stored, ...]) -> bool:
        """Take in the records after those so far; return False if the first ones differ."""
        count = len(self.stored)
        if stored is self.stored:
            return True
        if any(a is not b for a, b in zip(self.stored, stored, strict=False)):
            return False
        if len(stored) < count:
            return False
        self.stored = stored
        self._after.update((later.digest, later.record.after) for later in stored[count:])
        for later in stored[count:]:
            self._take(later)
        return True

    def __contains__(self, record: str) -> bool:
        return record in self._after

    def history(self) -> FactHistory:
        """Return an empty history of facts in the order of these records."""
        return FactHistory(self._after)

    def missing(self) -> tuple[str, ...]:
        """Return the digests of missing records that other records are after."""
        named = {parent for after in self._after.values() for parent in after}
        return tuple(sorted(named.difference(self._after)))

    def _take(self, stored: Stored) -> None:
        kind = bodies.KINDS.get(stored.record.kind)
        if kind is None:
            return
        try:
            body = body_of(stored.record, stored.digest, kind)
            _check_days(body, stored.digest)
        except VaultDamaged as error:
            self.damaged.append((error.file or "", f"{error.text}: {error.found}"))
            self.unusable[stored.digest] = f"cannot be used: {error.text}"
            return
        for entity in bodies.new_entities(body):
            self._enter(entity, stored.digest)
        if isinstance(body, bodies.LossAcceptedBody):
            self.accepted.append(_accepted(stored, body))
        self._sort(body, stored)

    def _sort(self, body: bodies.Body, stored: Stored) -> None:
        match body:
            case bodies.ReadBody():
                self.reads.append((stored, body))
            case bodies.CorrectBody():
                self.facts.add(body.id, body.facts, stored.digest)
            case bodies.LayoutAttachedBody():
                self.layouts.append((stored, body))
            case bodies.CardSheetBody():
                self._file(stored, body.unit, body.sheet, body.name)
            case bodies.SheetOfCardBody():
                self._file(stored, body.card, body.sheet, body.name)
            case bodies.ShipsRulesBody():
                self._file(stored, self.identity, body.rules, body.name)
            case bodies.ReadBackBody():
                self.read_backs[stored.digest] = (stored, body)
            case bodies.SwapClosedBody():
                self.taken_in += body.taken_in
            case bodies.LoadFileBody(unverified=True, swap=str(swap)):
                self.unverified.add(swap)
            case _:
                pass

    def _enter(self, entity: bodies.Entity, record: str) -> None:
        self.kinds[entity.id] = entity.what
        if entity.inside:
            self.inside[entity.id] = entity.inside
        self.facts.add(entity.id, entity.facts, record)

    def _file(self, stored: Stored, identity: str, sha256: str, name: str) -> None:
        kind = stored.record.kind
        self.files.append(GivenFile(stored.digest, kind, identity, sha256, name))
        self.facts.add(_file_entity(kind, identity), {"file": sha256}, stored.digest)


def _file_entity(kind: str, identity: str) -> str:
    """Return the name under which the facts of a thing's file are kept: no identity's own."""
    return f"{kind} of {identity}"


def _short_digests(layout: bodies.LayoutEntry) -> str:
    """Return the first digits of a layout and of the files that it includes."""
    return " ".join(f[:8] for f in (layout.sha256, *(part.sha256 for part in layout.parts)))


def _accepted(stored: Stored, body: bodies.LossAcceptedBody) -> AcceptedLoss:
    return AcceptedLoss(
        record=stored.digest,
        positions=frozenset(body.positions),
        records=body.records,
        objects=body.objects,
        reason=body.reason,
        by=stored.record.by,
        on=local_time(stored.record).date(),
    )


def _check_days(body: bodies.Body, record: str) -> None:
    """Raise VaultDamaged if a day of a read is not a date."""
    day: object = body.read_on if isinstance(body, bodies.ReadBody) else None
    if isinstance(body, bodies.CorrectBody) and body.what == "read":
        day = body.facts.get("read_on")
    if day:
        try:
            date.fromisoformat(str(day))
        except ValueError as error:
            raise misshapen(record, "a day such as 2026-03-01", repr(day)[:40]) from error


class VesselRecords:
    """The records of all identities that are one ship, by identity, and their common order.

    `reads` are by position: a corrected read is at the position that the correction names.
    """

    def __init__(self, record_sets: Iterable[IdentityRecords]) -> None:
        self.record_sets = sorted(record_sets, key=lambda records: records.identity)
        self.ids = frozenset(records.identity for records in self.record_sets)
        stored = [link for records in self.record_sets for link in records.stored]
        ordered = stored if len(self.record_sets) == 1 else causal_order(stored)
        self._order = {link.digest: order for order, link in enumerate(ordered)}
        self._named: dict[str, dict[str, list[tuple[IdentityRecords, str]]]] = {}
        self.reads: dict[str, list[tuple[IdentityRecords, Stored, bodies.ReadBody]]] = {}
        self._corrected: list[tuple[Mapping[str, tuple[str, ...]], bodies.ReadBody]] = []
        for records in self.record_sets:
            for read, body in records.reads:
                position = body.position
                if read.digest in records.facts:
                    self._corrected.append((records.facts.current(read.digest), body))
                    position = records.facts.texts(read.digest).get("position", position)
                self.reads.setdefault(position, []).append((records, read, body))

    def named(self, what: str, fact: str) -> dict[str, list[tuple[IdentityRecords, str]]]:
        """Return the entities of one kind by name."""
        if what not in self._named:
            by_name: dict[str, list[tuple[IdentityRecords, str]]] = {}
            for records in self.record_sets:
                for entity, kind in records.kinds.items():
                    if kind == what:
                        name = records.facts.texts(entity).get(fact, entity[:8])
                        by_name.setdefault(name.casefold(), []).append((records, entity))
            self._named[what] = dict(sorted(by_name.items()))
        return self._named[what]

    def order(self, record: str) -> int:
        """Return how many records about the ship come before this one."""
        return self._order[record]

    def last_file(self, kind: str, identities: frozenset[str]) -> tuple[str, str] | None:
        """Return the digest and the name of the file of a kind recorded last for an identity."""
        files = [
            (self.order(file.record), file.sha256, file.name)
            for records in self.record_sets
            for file in records.files
            if file.kind == kind and file.identity in identities
        ]
        return max(files)[1:] if files else None

    def file_conflict(
        self, kind: str, identities: frozenset[str], fact: str, where: str
    ) -> tuple[Conflict, ...]:
        """Return the files of a kind of which none is recorded after the other; none if one is."""
        sha256s = {
            sha256: None
            for records in self.record_sets
            for identity in identities
            for sha256 in records.facts.current(_file_entity(kind, identity)).get("file", ())
        }
        if len(sha256s) < 2:
            return ()
        names = {file.sha256: file.name for records in self.record_sets for file in records.files}
        return (Conflict(fact, tuple(f"{names[d]} ({d[:8]})" for d in sha256s), where),)

    def conflicts_of_reads(self, position: frozenset[str], where: str) -> tuple[Conflict, ...]:
        """Return what is in conflict about the reads of a position.

        A read that two records moved to two positions is in conflict at both.
        """
        against: list[Conflict] = []
        for values, body in self._corrected:
            if not position.isdisjoint((body.position, *values.get("position", ()))):
                against += conflicts(values, f"{where}@{body.image.sha256[:8]}")
        return tuple(against)

    def layout_conflict(
        self, named: Iterable[tuple[int, str, bodies.LayoutEntry]], where: str
    ) -> tuple[Conflict, ...]:
        """Return the layouts of which none is named after the other; none if one is.

        `named` gives each record that names one, behind its order.
        """
        layouts = [(record, _short_digests(layout)) for _, record, layout in sorted(named)]
        if len({layout for _, layout in layouts}) < 2:
            return ()
        current: dict[str, None] = {}
        for records in self.record_sets:
            history = records.history()
            for record, layout in layouts:
                if record in records:
                    history.add(where, {"layout": layout}, record)
            current.update(dict.fromkeys(history.current(where).get("layout", ())))
        return (Conflict("layout", tuple(current), where),) if len(current) > 1 else ()
