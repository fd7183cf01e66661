"""From the records of a vault to what is known: worked out at each call, never stored."""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from parambak.keeping.state.facts import conflicts, told
from parambak.keeping.state.known import (
    Aboard,
    Card,
    Conflict,
    Copy,
    Fleet,
    Look,
    Position,
    Read,
    Unit,
    Vessel,
    Visit,
)
from parambak.keeping.state.read_facts import ReadFacts
from parambak.keeping.state.rechecks import RECHECK, last_full
from parambak.keeping.state.record_sets import Book, Ship, local_time, visits_of
from parambak.keeping.state.vessel_names import names_of, one_ship_each, signboards, with_handles
from parambak.vault.records import file_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from parambak.keeping.state import bodies
    from parambak.keeping.state.vessel_names import Signboard
    from parambak.vault.vault import Stored, Vault

    Members = Sequence[tuple[Book, str]]


VISIT_OPENED, VISIT_CLOSED = "visit-opened", "visit-closed"  # kinds of records
BOOKS = 4  # identities whose records are kept sorted, for the next fold of the same vault


def fleet(vault: Vault) -> Fleet:
    """Return everything the vault's records tell.

    How the vessels are named is known at once, from the few records that tell it; what is
    aboard one is read where it is asked for.
    """
    return Folding(vault).fleet()


class Folding:
    """Folds one vault, and again where its records have changed, without reading all anew."""

    def __init__(self, vault: Vault) -> None:
        self.vault = vault
        self._books: dict[str, Book] = {}
        self._telling: object = None
        self._boards: list[Signboard] = []
        self._changes = -1
        self._fleet = Fleet(())

    def fleet(self) -> Fleet:
        """Return what the records tell now: the same value as long as they are the same."""
        telling = self.vault.telling()
        if telling is not self._telling:
            self._telling, self._boards = telling, signboards(self.vault)
            self._changes = -1
        if self.vault.changes != self._changes:
            self._changes = self.vault.changes
            self._fleet = self._folded()
        return self._fleet

    def _folded(self) -> Fleet:
        vault = self.vault
        visited = frozenset(vault.vessels_with(VISIT_OPENED))
        named = [names_of(ship) for ship in one_ship_each(self._boards)]
        vessels = []
        for names, handle in with_handles(named):
            ids = names.ids
            look = Look(partial(self._aboard, ids, handle), partial(self._visits, ids & visited))
            vessel = Vessel(
                ids,
                names.short,
                handle,
                facts=names.facts,
                former=names.former,
                conflicts=names.conflicts,
                look=look,
            )
            vessels.append(vessel)
        return Fleet(tuple(vessels), partial(_last_sound_recheck, vault))

    def _visits(self, visited: frozenset[str]) -> tuple[Visit, ...]:
        of_kind = self.vault.of_kind
        return tuple(
            visit
            for each in sorted(visited)
            for visit in visits_of(each, of_kind(each, VISIT_OPENED), of_kind(each, VISIT_CLOSED))
        )

    def _aboard(self, ids: frozenset[str], handle: str) -> Aboard:
        ship = Ship([self._book(identity) for identity in sorted(ids)])
        return Aboard(
            units=_units(ship, handle),
            cards=_cards(ship, handle),
            homes={entity: book.identity for book in ship.books for entity in book.kinds},
            damaged=tuple(each for book in ship.books for each in book.damaged),
            missing=tuple(file_of(each) for book in ship.books for each in book.missing()),
        )

    def _book(self, identity: str) -> Book:
        records = self.vault.records(identity)
        book = self._books.get(identity)
        if book is None or not book.go_on(records):
            while len(self._books) >= BOOKS:
                self._books.pop(next(iter(self._books)))
            book = self._books[identity] = Book(identity, records)
        return book


def _units(ship: Ship, vessel: str) -> tuple[Unit, ...]:
    units = []
    for members in ship.named("unit", "short").values():
        facts, against = told(members)
        short = facts.get("short", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/{short}"
        positions = _positions(ship, ids, where)
        former = _former(members, short)
        units.append(Unit(ids, short, where, facts, positions, _sheet(ship, ids), against, former))
    return tuple(units)


def _former(members: Members, short: str) -> tuple[str, ...]:
    """Return the short names that a thing had under its identities, but for today's."""
    every = [
        name
        for book, each in members
        for name in (
            *book.facts.earlier(each, "short"),
            *book.facts.standing(each).get("short", ()),
        )
    ]
    return tuple(dict.fromkeys(name for name in every if name and name != short))


def _cards(ship: Ship, vessel: str) -> tuple[Card, ...]:
    cards = []
    for members in ship.named("card", "serial").values():
        facts, against = told(members)
        serial = facts.get("serial", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/card:{serial}"
        positions = _positions(ship, ids, where)
        cards.append(Card(ids, serial, where, facts, positions, against, _sheet_of_card(ship, ids)))
    return tuple(cards)


def _sheet(ship: Ship, unit: frozenset[str]) -> tuple[str, str] | None:
    """Return the digest and the name of the card sheet recorded last for a unit."""
    sheets = [
        (ship.order(record), body.sheet, body.name)
        for book in ship.books
        for record, body in book.sheets
        if body.unit in unit
    ]
    return max(sheets)[1:] if sheets else None


def _sheet_of_card(ship: Ship, card: frozenset[str]) -> tuple[str, str] | None:
    """Return the digest and the name of the sheet recorded last for a card."""
    sheets = [
        (ship.order(record), body.sheet, body.name)
        for book in ship.books
        for record, body in book.card_sheets
        if body.card in card
    ]
    return max(sheets)[1:] if sheets else None


def _rules(ship: Ship) -> tuple[str, str] | None:
    """Return the digest and the name of the ship's rules recorded last."""
    rules = [
        (ship.order(record), body.rules, body.name)
        for book in ship.books
        for record, body in book.rules
    ]
    return max(rules)[1:] if rules else None


def _positions(ship: Ship, holder: frozenset[str], where: str) -> tuple[Position, ...]:
    positions = []
    for members in ship.named("position", "short").values():
        mine = [(book, each) for book, each in members if book.inside.get(each) in holder]
        if not mine:
            continue
        facts, against = told(mine)
        ids = frozenset(entity for _, entity in mine)
        short = facts.get("short", "")
        reads, of_reads = _reads(ship, ids)
        positions.append(
            Position(
                ids=ids,
                short=short,
                where=f"{where}/{short}",
                chip=facts.get("chip"),
                copies=_copies(reads),
                out_of_order=_out_of_order(reads),
                conflicts=(*against, *of_reads),
                former=_former(mine, short),
                rules=_rules(ship),
            )
        )
    return tuple(positions)


def _reads(ship: Ship, position: frozenset[str]) -> tuple[list[Read], list[Conflict]]:
    """Return a position's reads by date, then by order of the records, and their conflicts."""
    found = []
    against = []
    for each in sorted(position):
        for book, stored, body in ship.reads.get(each, ()):
            found.append(_read(ship, book, stored, body))
            if stored.digest not in book.facts:
                continue
            against += [
                Conflict(f"{told.fact} of read {stored.digest[:8]}", told.values)
                for told in conflicts(book.facts.standing(stored.digest))
            ]
    for book in ship.books:
        found += [
            _from_read_back(ship, book, *book.read_backs[record])
            for record in dict.fromkeys(book.taken_in)
            if record in book.read_backs and book.read_backs[record][1].position in position
        ]
    return sorted(found, key=lambda read: (read.read_on, read.order)), against


def _from_read_back(ship: Ship, book: Book, stored: Stored, body: bodies.ReadBackBody) -> Read:
    """Return the read that a read-back is, once its swap was closed."""
    taken_in = local_time(stored.record)
    return Read(
        record=stored.digest,
        vessel=book.identity,
        call=body.call or stored.digest[:32],
        order=ship.order(stored.digest),
        image=body.image,
        dumps=body.dumps,
        read_on=taken_in.date(),
        stated=False,
        taken_in=taken_in,
        writer=stored.record.writer,
        by=stored.record.by,
        facts=ReadFacts(),
        layout=body.layout,
        after_unverified=any(body.swap in each.unverified for each in ship.books),
    )


def _read(ship: Ship, book: Book, stored: Stored, body: bodies.ReadBody) -> Read:
    told = book.facts.texts(stored.digest) if stored.digest in book.facts else {}
    taken_in = local_time(stored.record)
    stated = told.get("read_on", body.read_on)
    return Read(
        record=stored.digest,
        vessel=book.identity,
        call=body.call,
        order=ship.order(stored.digest),
        image=body.image,
        dumps=body.dumps,
        read_on=date.fromisoformat(stated) if stated else taken_in.date(),
        stated=stated is not None,
        taken_in=taken_in,
        writer=stored.record.writer,
        by=stored.record.by,
        facts=body,
        reader_sum=body.reader_sum,
        layout=body.layout,
        normal=body.normal,
        remark=told.get("remark", body.remark),
        visit=body.visit,
        reconstructed_from=body.reconstructed_from,
    )


def _copies(reads: Sequence[Read]) -> tuple[Copy, ...]:
    """Return one copy for each image, ordered by its newest read."""
    by_image: dict[bodies.ImageEntry, list[Read]] = {}
    for read in reads:
        given = by_image.pop(read.image, [])
        by_image[read.image] = [*given, read]
    return tuple(
        Copy(number, image, tuple(given))
        for number, (image, given) in enumerate(by_image.items(), start=1)
    )


def _out_of_order(reads: Sequence[Read]) -> bool:
    """Tell whether the newest read by date is not the newest record."""
    return bool(reads) and reads[-1].order != max(read.order for read in reads)


def _last_sound_recheck(vault: Vault) -> datetime | None:
    return last_full(vault.of_kind(None, RECHECK), vault.folder_mark, sound=True)
