"""One vessel identity's records, sorted by what they tell; and which identities are one ship."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

from parambak.errors import VaultDamaged
from parambak.keeping import bodies
from parambak.keeping.bodies import body_of
from parambak.keeping.facts import FactBook
from parambak.keeping.known import Visit
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
        self.stored = stored
        self.facts = FactBook({each.digest: each.record.after for each in stored})
        self.inside: dict[str, str] = {}
        self.kinds: dict[str, str] = {}
        self.reads: list[tuple[Stored, bodies.ReadBody]] = []
        self.sheets: list[tuple[str, bodies.CardSheetBody]] = []
        self.rules: list[tuple[str, bodies.ShipsRulesBody]] = []
        self.read_backs: dict[str, tuple[Stored, bodies.ReadBackBody]] = {}
        self.taken_in: list[str] = []
        self.visits: dict[str, Visit] = {}
        self.damaged: list[tuple[str, str]] = []
        for each in stored:
            self._take(each)

    def _take(self, stored: Stored) -> None:
        kind = bodies.KINDS.get(stored.record.kind)
        if kind is None:
            return
        try:
            body = body_of(stored.record, stored.digest, kind)
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
                self._open(body, stored.record)
            case bodies.VisitClosedBody():
                self._close(body, stored.record)
            case bodies.CardSheetBody():
                self.sheets.append((stored.digest, body))
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
            case _:
                pass

    def _enter(self, entities: Iterable[bodies.Entity], record: str) -> None:
        for entity in entities:
            self.kinds[entity.id] = entity.what
            if entity.inside:
                self.inside[entity.id] = entity.inside
            self.facts.tell(entity.id, entity.facts, record)

    def _open(self, body: bodies.VisitOpenedBody, record: Record) -> None:
        self.visits[body.visit] = Visit(
            body.visit, self.identity, body.on, record.by, body.reader, record.writer
        )

    def _close(self, body: bodies.VisitClosedBody, record: Record) -> None:
        opened = self.visits.get(body.visit)
        if opened:
            when = local_time(record).date().isoformat()
            self.visits[body.visit] = Visit(
                opened.id, opened.vessel, opened.on, opened.by, opened.reader, opened.writer, when
            )

    def names(self) -> set[str]:
        """Return every name this identity has or had, without regard to case."""
        facts = self.facts
        short = facts.texts(self.identity).get("short", "")
        every = (
            short,
            *facts.earlier(self.identity, "short"),
            *facts.listed(self.identity, "former"),
        )
        return {name.casefold() for name in every if name}


class Ship:
    """The books of the identities that are one ship, by identity, and their common order."""

    def __init__(self, books: Iterable[Book]) -> None:
        self.books = sorted(books, key=lambda book: book.identity)
        every = [stored for book in self.books for stored in book.stored]
        ordered = every if len(self.books) == 1 else causal_order(every)
        self._order = {stored.digest: order for order, stored in enumerate(ordered)}

    def order(self, record: str) -> int:
        """Return how many records about the ship come before this one."""
        return self._order[record]


def one_ship_each(books: Iterable[Book]) -> list[Ship]:
    """Group identities that are one ship: IMO number and a name agree."""
    groups: list[list[Book]] = []
    for book in books:
        same = [group for group in groups if any(_one_ship(book, other) for other in group)]
        groups = [group for group in groups if group not in same]
        groups.append([book, *(each for group in same for each in group)])
    return [Ship(group) for group in groups]


def _one_ship(one: Book, other: Book) -> bool:
    number = one.facts.texts(one.identity).get("imo")
    same = number is not None and number == other.facts.texts(other.identity).get("imo")
    return same and bool(one.names() & other.names())
