"""One vessel identity's records, sorted by what they tell; and those of one ship together."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

from parambak.errors import VaultDamaged
from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import body_of, misshapen
from parambak.keeping.state.facts import FactBook
from parambak.keeping.state.known import Visit
from parambak.vault.order import causal_order

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.vault.records import Record
    from parambak.vault.vault import Stored


def local_time(record: Record) -> datetime:
    """Return the laptop's clock when the record was written, with its offset."""
    moment = datetime.fromisoformat(record.clock.utc)
    try:
        return moment.astimezone(timezone(timedelta(minutes=record.clock.offset)))
    except OverflowError:  # the first or last day that the calendar holds
        return moment.astimezone(UTC)


class Book:
    """One vessel identity's records, sorted by what they tell."""

    def __init__(self, identity: str, stored: Sequence[Stored]) -> None:
        self.identity = identity
        self.stored: tuple[Stored, ...] = ()
        self._after: dict[str, tuple[str, ...]] = {}
        self.facts = FactBook(self._after)
        self.inside: dict[str, str] = {}
        self.kinds: dict[str, str] = {}
        self.reads: list[tuple[Stored, bodies.ReadBody]] = []
        self.sheets: list[tuple[str, bodies.CardSheetBody]] = []
        self.card_sheets: list[tuple[str, bodies.SheetOfCardBody]] = []
        self.rules: list[tuple[str, bodies.ShipsRulesBody]] = []
        self.read_backs: dict[str, tuple[Stored, bodies.ReadBackBody]] = {}
        self.taken_in: list[str] = []
        self.unverified: set[str] = set()
        self.damaged: list[tuple[str, str]] = []
        self.go_on(tuple(stored))

    def go_on(self, stored: tuple[Stored, ...]) -> bool:
        """Take in what came behind the records known so far; False where that is not all."""
        known = len(self.stored)
        if stored is self.stored:
            return True
        if any(mine is not its for mine, its in zip(self.stored, stored, strict=False)):
            return False
        if len(stored) < known:
            return False
        self.stored = stored
        self._after.update((each.digest, each.record.after) for each in stored[known:])
        for each in stored[known:]:
            self._take(each)
        return True

    def missing(self) -> tuple[str, ...]:
        """Return the digests of records that others are after and that are not there."""
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
            return
        match body:
            case bodies.ReadBody():
                self._enter(body.new, stored.digest)
                self.reads.append((stored, body))
            case bodies.EnteredBody():
                self._enter(body.new, stored.digest)
            case bodies.AmendBody():
                self.facts.tell(body.id, body.facts, stored.digest)
            case bodies.VisitOpenedBody():
                self._enter(body.new, stored.digest)
            case bodies.CardSheetBody():
                self.sheets.append((stored.digest, body))
            case bodies.SheetOfCardBody():
                self.card_sheets.append((stored.digest, body))
            case bodies.ShipsRulesBody():
                self.rules.append((stored.digest, body))
            case _:
                self._take_of_swap(body, stored)

    def _take_of_swap(self, body: bodies.Body, stored: Stored) -> None:
        match body:
            case bodies.SwapOpenedBody():
                self._enter(body.new, stored.digest)
            case bodies.ReadBackBody():
                self.read_backs[stored.digest] = (stored, body)
            case bodies.SwapClosedBody():
                self.taken_in += body.taken_in
            case bodies.LoadFileBody(unverified=True, swap=str(swap)):
                self.unverified.add(swap)
            case _:
                pass

    def _enter(self, entities: Iterable[bodies.Entity], record: str) -> None:
        for entity in entities:
            self.kinds[entity.id] = entity.what
            if entity.inside:
                self.inside[entity.id] = entity.inside
            self.facts.tell(entity.id, entity.facts, record)


def _check_days(body: bodies.Body, record: str) -> None:
    """Raise VaultDamaged where a day of a read is none."""
    told: object = body.read_on if isinstance(body, bodies.ReadBody) else None
    if isinstance(body, bodies.AmendBody) and body.what == "read":
        told = body.facts.get("read_on")
    if told:
        try:
            date.fromisoformat(str(told))
        except ValueError as error:
            raise misshapen(record, "a day such as 2026-03-01", repr(told)[:40]) from error


def visits_of(
    identity: str, opened: Iterable[Stored], closed: Iterable[Stored]
) -> tuple[Visit, ...]:
    """Return the visits to a vessel, in the order of the clocks at their opening.

    A visit is closed once a record says so, in whatever order they are found: whoever
    closed it knew it. Of two records that open or close one visit the earlier counts.
    """
    ends: dict[str, tuple[str, str | None]] = {}
    for stored in sorted(closed, key=_clock):
        body = bodies.sound(stored, bodies.VisitClosedBody)
        if body is not None:
            day = local_time(stored.record).date().isoformat()
            ends.setdefault(body.visit, (day, body.remark))
    found: dict[str, Visit] = {}
    for stored in sorted(opened, key=_clock):
        begun = bodies.sound(stored, bodies.VisitOpenedBody)
        if begun is not None and begun.visit not in found:
            record = stored.record
            end, remark = ends.get(begun.visit, (None, None))
            found[begun.visit] = Visit(
                begun.visit, identity, begun.on, record.by, begun.reader, record.writer, end, remark
            )
    return tuple(found.values())


def _clock(stored: Stored) -> tuple[str, str]:
    return stored.record.clock.utc, stored.digest


class Ship:
    """The books of the identities that are one ship, by identity, and their common order."""

    def __init__(self, books: Iterable[Book]) -> None:
        self.books = sorted(books, key=lambda book: book.identity)
        every = [stored for book in self.books for stored in book.stored]
        ordered = every if len(self.books) == 1 else causal_order(every)
        self._order = {stored.digest: order for order, stored in enumerate(ordered)}
        self._named: dict[str, dict[str, list[tuple[Book, str]]]] = {}
        self.reads: dict[str, list[tuple[Book, Stored, bodies.ReadBody]]] = {}
        for book in self.books:
            for stored, body in book.reads:
                at = body.position
                if stored.digest in book.facts:  # amended
                    at = book.facts.texts(stored.digest).get("position", at)
                self.reads.setdefault(at, []).append((book, stored, body))

    def named(self, what: str, fact: str) -> dict[str, list[tuple[Book, str]]]:
        """Return the entities of one kind, those of one name together, by name."""
        if what not in self._named:
            found: dict[str, list[tuple[Book, str]]] = {}
            for book in self.books:
                for entity, kind in book.kinds.items():
                    if kind == what:
                        name = book.facts.texts(entity).get(fact, entity[:8])
                        found.setdefault(name.casefold(), []).append((book, entity))
            self._named[what] = dict(sorted(found.items()))
        return self._named[what]

    def order(self, record: str) -> int:
        """Return how many records about the ship come before this one."""
        return self._order[record]
