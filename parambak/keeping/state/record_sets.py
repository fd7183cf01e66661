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
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from parambak.keeping.state.counting import Withdrawals
    from parambak.vault.records import Clock, Record
    from parambak.vault.vault import Stored


def local_time(record: Record) -> datetime:
    """Return the laptop's clock when the record was written, with its offset."""
    return time_of(record.clock)


def time_of(clock: Clock) -> datetime:
    """Return what a laptop's clock showed, with its offset."""
    moment = datetime.fromisoformat(clock.utc)
    try:
        return moment.astimezone(timezone(timedelta(minutes=clock.offset)))
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
    `taken_in` are the read-backs that became reads; `swaps` are the swaps opened, by identity, and
    `ended` their ends; `released` the files for loading, `remarked` the remarks on changes.
    `damaged` are the records that cannot be used, each by its file and why,
    `unusable` the same by digest; `accepted` are the losses that a person accepted.

    Of records that are `withdrawn` there are only the facts of what they brought in, which may
    still be aboard. `moved_away` are the reads among them that are at another vessel now;
    `moved` is whether a read that counts was moved to another position.
    """

    def __init__(
        self, identity: str, stored: Sequence[Stored], withdrawn: Withdrawals | None = None
    ) -> None:
        self.identity = identity
        self.withdrawn: Withdrawals = {} if withdrawn is None else withdrawn
        self.moved_away: dict[str, bodies.ReadBody] = {}
        self.moved = False
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
        self.swaps: dict[str, bodies.SwapOpenedBody] = {}
        self.ended: list[tuple[str, bodies.SwapClosedBody]] = []
        self.released: list[tuple[str, bodies.LoadFileBody]] = []
        self.remarked: list[tuple[Stored, bodies.RemarkedBody]] = []
        self.accepted: list[AcceptedLoss] = []
        self.damaged: list[tuple[str, str]] = []
        self.unusable: dict[str, str] = {}
        self.extend(tuple(stored))

    def extend(self, stored: tuple[Stored, ...], withdrawn: Withdrawals | None = None) -> bool:
        """Take in the records after those so far; return False if the first ones differ.

        They differ too if other ones are withdrawn now.
        """
        count = len(self.stored)
        if withdrawn is not None and withdrawn != self.withdrawn:
            return False
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

    def counts_moved(self, record: str) -> bool:
        """Return whether a read that was moved from here counts at the other vessel.

        A read that is withdrawn here by another person too counts nowhere.
        """
        return all(withdrawal.body.moved_to for withdrawal in self.withdrawn.get(record, ()))

    def used(self) -> set[str]:
        """Return the identities that the records that count name, their reads left out."""
        used: set[str] = set()
        for stored in self.stored:
            kind = bodies.KINDS.get(stored.record.kind, bodies.Body)
            if stored.digest not in self.withdrawn and kind is not bodies.ReadBody:
                used |= set() if kind.about_records else bodies.identities_in(stored.record.body)
        return used

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
        withdrawn = stored.digest in self.withdrawn
        for entity in bodies.new_entities(body):
            if not withdrawn or entity.inside:  # facts of another record's entity go with it
                self._enter(entity, stored.digest)
        if not withdrawn:
            self._sort(body, stored)
            if isinstance(body, bodies.LossAcceptedBody):
                self.accepted.append(_accepted(stored, body))
        elif isinstance(body, bodies.ReadBody):
            self.moved_away[stored.digest] = body

    def _sort(self, body: bodies.Body, stored: Stored) -> None:
        match body:
            case bodies.ReadBody():
                self.reads.append((stored, body))
            case bodies.CorrectBody():
                self.facts.add(body.id, body.facts, stored.digest)
                self.moved |= body.what == "read" and "position" in body.facts
            case bodies.WithdrawnBody(moved_to=str(moved_to)):
                self.facts.add(body.records[0], {"position": moved_to}, stored.digest)
            case bodies.LayoutAttachedBody():
                self.layouts.append((stored, body))
            case bodies.CardSheetBody(unit=about) | bodies.SheetOfCardBody(card=about):
                self._file(stored, about, body.sheet, body.name)
            case bodies.ShipsRulesBody():
                self._file(stored, self.identity, body.rules, body.name)
            case bodies.ReadBackBody():
                self.read_backs[stored.digest] = (stored, body)
            case bodies.SwapClosedBody():
                self.taken_in += body.taken_in
                self.ended.append((stored.digest, body))
            case _:
                self._sort_more(body, stored)

    def _sort_more(self, body: bodies.Body, stored: Stored) -> None:
        """Keep what shows of which chip a read is, and what a person stated of its reads."""
        match body:
            case bodies.SwapOpenedBody():
                self.swaps[body.swap] = body
            case bodies.LoadFileBody():
                self.released.append((stored.digest, body))
            case bodies.RemarkedBody():
                self.remarked.append((stored, body))
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
    if isinstance(body, bodies.ReadBody) and body.moved_from is not None:
        _check_clock(body.moved_from.clock.utc, record)
    if isinstance(body, bodies.CorrectBody) and body.what == "read":
        day = body.facts.get("read_on")
    if day:
        try:
            date.fromisoformat(str(day))
        except ValueError as error:
            raise misshapen(record, "a day such as 2026-03-01", repr(day)[:40]) from error


def _by_first_clock(ordered: list[Stored], moved_in: Mapping[str, str]) -> list[Stored]:
    """Return records with each read of `moved_in` where the clock of its first record puts it."""
    placed = [stored for stored in ordered if stored.digest not in moved_in]
    clocks = [stored.record.clock.utc for stored in placed]
    for stored in ordered:
        utc = moved_in.get(stored.digest)
        if utc is not None:
            at = max((n for n, clock in enumerate(clocks, start=1) if clock <= utc), default=0)
            placed.insert(at, stored)
            clocks.insert(at, utc)
    return placed


def _check_clock(utc: str, record: str) -> None:
    try:
        datetime.fromisoformat(utc)
    except ValueError as error:
        raise misshapen(record, "a time of the calendar", repr(utc)[:40]) from error


class VesselRecords:
    """The records of all identities that are one ship, by identity, and their common order.

    `reads` are by position: a corrected read is at the position that the correction names.
    `origin` gives the records of the vessel identity that a read was moved from, None if they are
    not in the vault.
    """

    def __init__(
        self,
        record_sets: Iterable[IdentityRecords],
        origin: Callable[[str], IdentityRecords | None] = lambda _: None,
    ) -> None:
        self._origin = origin
        self.record_sets = sorted(record_sets, key=lambda records: records.identity)
        self.ids = frozenset(records.identity for records in self.record_sets)
        stored = [link for records in self.record_sets for link in records.stored]
        ordered = stored if len(self.record_sets) == 1 else list(causal_order(stored))
        moved_in = {
            read.digest: body.moved_from.clock.utc
            for records in self.record_sets
            for read, body in records.reads
            if body.moved_from
        }
        if moved_in:
            ordered = _by_first_clock(ordered, moved_in)
        self._order = {link.digest: order for order, link in enumerate(ordered)}
        self._named: dict[str, dict[str, list[tuple[IdentityRecords, str]]]] = {}
        self.reads: dict[str, list[tuple[IdentityRecords, Stored, bodies.ReadBody]]] = {}
        self._corrected: list[tuple[Mapping[str, tuple[str, ...]], bodies.ReadBody]] = []
        for records in self.record_sets:
            for read, body in records.reads:
                if body.moved_from is not None and not self._counts(body):
                    continue
                position = body.position
                if read.digest in records.facts:
                    self._corrected.append((records.facts.current(read.digest), body))
                    position = records.facts.texts(read.digest).get("position", position)
                self.reads.setdefault(position, []).append((records, read, body))
        changed = any(records.withdrawn or records.moved for records in self.record_sets)
        self._aboard = self._used() if changed else None

    def moves_of(self, body: bodies.ReadBody) -> tuple[str, ...]:
        """Return to where a read was moved by people who did not know of each other.

        Each is a position's identity, or at another vessel the digest of the read's record there;
        there is none, or one, if nobody disagrees.
        """
        if body.moved_from is None:
            return ()
        origin = self._origin(body.moved_from.vessel)
        facts = origin.facts.current(body.moved_from.record) if origin is not None else {}
        return facts.get("position", ())

    def _counts(self, body: bodies.ReadBody) -> bool:
        """Return whether a read that was moved from another vessel counts, by the records there."""
        moved_from = body.moved_from
        while moved_from is not None:
            origin = self._origin(moved_from.vessel)
            if origin is None:
                return True
            if not origin.counts_moved(moved_from.record):
                return False
            earlier = origin.moved_away.get(moved_from.record)
            moved_from = earlier.moved_from if earlier is not None else None
        return True

    def _used(self) -> set[str]:
        """Return the units, cards and positions that something is at: the others are not aboard.

        What a record brought in may stay when the record is withdrawn, or its read moved: it
        stays as long as another record that counts names it.
        """
        used = set(self.reads).union(*(records.used() for records in self.record_sets))
        inside = {e: holder for records in self.record_sets for e, holder in records.inside.items()}
        waiting = list(used)
        while waiting:
            holder = inside.get(waiting.pop())
            if holder is not None and holder not in used:
                used.add(holder)
                waiting.append(holder)
        return used

    def named(self, what: str, fact: str) -> dict[str, list[tuple[IdentityRecords, str]]]:
        """Return the entities of one kind by name."""
        if what not in self._named:
            by_name: dict[str, list[tuple[IdentityRecords, str]]] = {}
            for records in self.record_sets:
                for entity, kind in records.kinds.items():
                    if kind == what and (self._aboard is None or entity in self._aboard):
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
