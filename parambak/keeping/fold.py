"""From the records of a vault to what is known: worked out at each call, never stored."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING

from msgspec.structs import replace

from parambak.keeping import bodies
from parambak.keeping.bodies import body_of, misshapen
from parambak.keeping.book import Book, local_time, one_ship_each
from parambak.keeping.facts import conflicts
from parambak.keeping.known import Card, Conflict, Copy, Fleet, Position, Read, Unit, Vessel

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.keeping.book import Ship
    from parambak.vault.vault import Stored, Vault

    Members = Sequence[tuple[Book, str]]


def fleet(vault: Vault) -> Fleet:
    """Return everything the vault's records tell."""
    books = [Book(identity, vault.records(identity)) for identity in vault.vessels()]
    ships = [_vessel(ship) for ship in one_ship_each(books)]
    damaged = tuple(each for book in books for each in book.damaged)
    return Fleet(_with_handles(ships), _last_sound_recheck(vault.records(None)), damaged)


def _vessel(ship: Ship) -> Vessel:
    members = [(book, book.identity) for book in ship.books]
    facts, against = _told(members)
    former: list[str] = []
    for book, identity in members:
        former += [*book.facts.listed(identity, "former"), *book.facts.earlier(identity, "short")]
        former.append(book.facts.texts(identity).get("short", ""))
    short = facts.get("short", ship.books[0].identity[:8])
    kept = dict.fromkeys(name for name in former if name and name != short)
    return Vessel(
        ids=frozenset(book.identity for book in ship.books),
        short=short,
        handle=short,
        facts=facts,
        former=tuple(kept),
        units=_units(ship, short),
        cards=_cards(ship, short),
        visits=tuple(visit for book in ship.books for visit in book.visits.values()),
        conflicts=against,
        homes={entity: book.identity for book in ship.books for entity in book.kinds},
    )


def _with_handles(ships: Iterable[Vessel]) -> tuple[Vessel, ...]:
    """Tell apart vessels that share a short name, by their identity's first digits."""
    by_name: dict[str, list[Vessel]] = {}
    for ship in ships:
        by_name.setdefault(ship.short.casefold(), []).append(ship)
    named = []
    for _, group in sorted(by_name.items()):
        digits = 4
        while len({ship.id[:digits] for ship in group}) < len(group):
            digits += 1
        for ship in sorted(group, key=lambda each: each.id):
            alone = len(group) == 1
            named.append(ship if alone else _renamed(ship, f"{ship.short}~{ship.id[:digits]}"))
    return tuple(named)


def _renamed(ship: Vessel, handle: str) -> Vessel:
    def moved(where: str) -> str:
        return handle + where[len(ship.handle) :]

    def at(position: Position) -> Position:
        return replace(position, where=moved(position.where))

    return replace(
        ship,
        handle=handle,
        units=tuple(
            replace(u, where=moved(u.where), positions=tuple(at(p) for p in u.positions))
            for u in ship.units
        ),
        cards=tuple(
            replace(c, where=moved(c.where), positions=tuple(at(p) for p in c.positions))
            for c in ship.cards
        ),
    )


def _by_name(ship: Ship, what: str, fact: str) -> dict[str, list[tuple[Book, str]]]:
    """Return the entities of one kind, those of one name together."""
    found: dict[str, list[tuple[Book, str]]] = {}
    for book in ship.books:
        for entity, kind in book.kinds.items():
            if kind == what:
                name = book.facts.texts(entity).get(fact, entity[:8])
                found.setdefault(name.casefold(), []).append((book, entity))
    return dict(sorted(found.items()))


def _told(members: Members) -> tuple[dict[str, str], tuple[Conflict, ...]]:
    """Return the facts of one thing under its identities, and those told differently."""
    standing: dict[str, tuple[str, ...]] = {}
    for book, entity in members:
        for name, values in book.facts.standing(entity).items():
            standing[name] = tuple(dict.fromkeys((*standing.get(name, ()), *values)))
    told = {name: next((v for v in values if v), "") for name, values in standing.items()}
    return {name: value for name, value in told.items() if value}, conflicts(standing)


def _units(ship: Ship, vessel: str) -> tuple[Unit, ...]:
    units = []
    for members in _by_name(ship, "unit", "short").values():
        facts, against = _told(members)
        short = facts.get("short", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/{short}"
        positions = _positions(ship, ids, where)
        units.append(Unit(ids, short, where, facts, positions, _sheet(ship, ids), against))
    return tuple(units)


def _cards(ship: Ship, vessel: str) -> tuple[Card, ...]:
    cards = []
    for members in _by_name(ship, "card", "serial").values():
        facts, against = _told(members)
        serial = facts.get("serial", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/card:{serial}"
        cards.append(Card(ids, serial, where, facts, _positions(ship, ids, where), against))
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
    for members in _by_name(ship, "position", "short").values():
        mine = [(book, each) for book, each in members if book.inside.get(each) in holder]
        if not mine:
            continue
        facts, against = _told(mine)
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
                rules=_rules(ship),
            )
        )
    return tuple(positions)


def _reads(ship: Ship, position: frozenset[str]) -> tuple[list[Read], list[Conflict]]:
    """Return a position's reads by date, then by order of the records, and their conflicts."""
    found = []
    against = []
    for book in ship.books:
        for stored, body in book.reads:
            told = book.facts.texts(stored.digest)
            if told.get("position", body.position) in position:
                found.append(_read(ship, book, stored, body))
                against += [
                    Conflict(f"{each.fact} of read {stored.digest[:8]}", each.values)
                    for each in conflicts(book.facts.standing(stored.digest))
                ]
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
        call=body.swap or stored.digest[:32],
        order=ship.order(stored.digest),
        image=body.image,
        dumps=body.dumps,
        read_on=taken_in.date(),
        stated=False,
        taken_in=taken_in,
        writer=stored.record.writer,
        by=stored.record.by,
        layout=body.layout,
    )


def _read(ship: Ship, book: Book, stored: Stored, body: bodies.ReadBody) -> Read:
    told = book.facts.texts(stored.digest)
    taken_in = local_time(stored.record)
    stated = told.get("read_on", body.read_on)
    return Read(
        record=stored.digest,
        vessel=book.identity,
        call=body.call,
        order=ship.order(stored.digest),
        image=body.image,
        dumps=body.dumps,
        read_on=_day(stated, stored.digest) if stated else taken_in.date(),
        stated=stated is not None,
        taken_in=taken_in,
        writer=stored.record.writer,
        by=stored.record.by,
        reader=body.reader,
        reader_sum=body.reader_sum,
        untimed=body.untimed,
        compared=body.compared,
        layout=body.layout,
        normal=body.normal,
        remark=told.get("remark", body.remark),
        visit=body.visit,
        how=body.how,
        reseated=body.reseated,
        pair=body.pair,
        reconstructed_from=body.reconstructed_from,
    )


def _day(text: str, record: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise misshapen(record, "a day such as 2026-03-01", repr(text[:40])) from error


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


def _last_sound_recheck(stored: Iterable[Stored]) -> datetime | None:
    sound = None
    for each in stored:
        if each.record.kind == "recheck":
            body = body_of(each.record, each.digest, bodies.RecheckBody)
            if body.damaged == 0:
                moment = local_time(each.record).astimezone(UTC)
                sound = max(moment, sound) if sound else moment
    return sound
