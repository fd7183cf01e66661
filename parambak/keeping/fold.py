"""From the records of a vault to what is known: worked out at each call, never stored."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

from parambak.keeping import bodies
from parambak.keeping.bodies import body_of
from parambak.keeping.facts import FactBook
from parambak.keeping.known import Card, Copy, Fleet, Position, Read, Unit, Vessel, Visit

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from parambak.vault.records import Record
    from parambak.vault.vault import Stored, Vault


def fleet(vault: Vault) -> Fleet:
    """Return everything the vault's records tell."""
    books = [_Book(identity, vault.records(identity)) for identity in vault.vessels()]
    ships = [_vessel(group) for group in _one_ship_each(books)]
    return Fleet(_with_handles(ships), _last_sound_recheck(vault.records(None)))


def local_time(record: Record) -> datetime:
    """Return the laptop's clock when the record was written, with its offset."""
    moment = datetime.fromisoformat(record.clock.utc)
    return moment.astimezone(timezone(timedelta(minutes=record.clock.offset)))


class _Book:
    """One vessel identity's records, sorted by what they tell."""

    def __init__(self, identity: str, stored: Sequence[Stored]) -> None:
        self.identity = identity
        self.facts = FactBook({each.digest: each.record.after for each in stored})
        self.inside: dict[str, str] = {}
        self.kinds: dict[str, str] = {}
        self.reads: list[tuple[int, Stored, bodies.ReadBody]] = []
        self.sheets: dict[str, tuple[str, str]] = {}
        self.visits: dict[str, Visit] = {}
        for order, each in enumerate(stored):
            self._take(order, each)

    def _take(self, order: int, stored: Stored) -> None:
        kind = bodies.KINDS.get(stored.record.kind)
        if kind is None:
            return
        body = body_of(stored.record, stored.digest, kind)
        match body:
            case bodies.ReadBody():
                self._enter(body.new, stored.digest)
                self.reads.append((order, stored, body))
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
                self.sheets[body.unit] = (body.sheet, body.name)
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


def _one_ship_each(books: Iterable[_Book]) -> list[list[_Book]]:
    """Group identities that are one ship: IMO number and a name agree."""
    groups: list[list[_Book]] = []
    for book in books:
        imo = book.facts.texts(book.identity).get("imo")
        for group in groups:
            first = group[0]
            same = imo and imo == first.facts.texts(first.identity).get("imo")
            if same and any(book.names() & other.names() for other in group):
                group.append(book)
                break
        else:
            groups.append([book])
    return groups


def _vessel(group: Sequence[_Book]) -> Vessel:
    facts: dict[str, str] = {}
    former: list[str] = []
    for book in group:
        own = book.facts
        facts = {**own.texts(book.identity), **facts}
        former += [*own.listed(book.identity, "former"), *own.earlier(book.identity, "short")]
        former.append(own.texts(book.identity).get("short", ""))
    short = facts.get("short", group[0].identity[:8])
    kept = dict.fromkeys(name for name in former if name and name != short)
    return Vessel(
        ids=frozenset(book.identity for book in group),
        short=short,
        handle=short,
        facts=facts,
        former=tuple(kept),
        units=_units(group, short),
        cards=_cards(group, short),
        visits=tuple(visit for book in group for visit in book.visits.values()),
        conflicts=tuple(c for book in group for c in book.facts.conflicts(book.identity)),
    )


def _with_handles(ships: Iterable[Vessel]) -> tuple[Vessel, ...]:
    """Tell apart vessels that share a short name, by their identity's first digits."""
    ordered = sorted(ships, key=lambda ship: (ship.short.casefold(), ship.id))
    names = [ship.short.casefold() for ship in ordered]
    return tuple(
        _renamed(ship, f"{ship.short}~{ship.id[:4]}")
        if names.count(ship.short.casefold()) > 1
        else ship
        for ship in ordered
    )


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


def _by_name(group: Sequence[_Book], what: str, fact: str) -> dict[str, list[tuple[_Book, str]]]:
    """Return the entities of one kind, those of one name together."""
    found: dict[str, list[tuple[_Book, str]]] = {}
    for book in group:
        for entity, kind in book.kinds.items():
            if kind == what:
                named = (other.facts.texts(entity).get(fact) for other in group)
                name = next((each for each in named if each), entity[:8])
                found.setdefault(name.casefold(), []).append((book, entity))
    return dict(sorted(found.items()))


def _texts(members: Sequence[tuple[_Book, str]]) -> dict[str, str]:
    facts: dict[str, str] = {}
    for book, entity in members:
        facts = {**book.facts.texts(entity), **facts}
    return facts


def _units(group: Sequence[_Book], vessel: str) -> tuple[Unit, ...]:
    units = []
    for members in _by_name(group, "unit", "short").values():
        facts = _texts(members)
        short = facts.get("short", "")
        ids = frozenset(entity for _, entity in members)
        sheets = [book.sheets[entity] for book, entity in members if entity in book.sheets]
        where = f"{vessel}/{short}"
        conflicts = tuple(c for book, entity in members for c in book.facts.conflicts(entity))
        units.append(
            Unit(ids, short, where, facts, _positions(group, ids, where), _last(sheets), conflicts)
        )
    return tuple(units)


def _cards(group: Sequence[_Book], vessel: str) -> tuple[Card, ...]:
    cards = []
    for members in _by_name(group, "card", "serial").values():
        facts = _texts(members)
        serial = facts.get("serial", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/card:{serial}"
        conflicts = tuple(c for book, entity in members for c in book.facts.conflicts(entity))
        cards.append(Card(ids, serial, where, facts, _positions(group, ids, where), conflicts))
    return tuple(cards)


def _last(sheets: Sequence[tuple[str, str]]) -> tuple[str, str] | None:
    return sheets[-1] if sheets else None


def _positions(group: Sequence[_Book], holder: frozenset[str], where: str) -> tuple[Position, ...]:
    positions = []
    for members in _by_name(group, "position", "short").values():
        mine = [each for each in members if each[0].inside.get(each[1]) in holder]
        if not mine:
            continue
        facts = _texts(mine)
        ids = frozenset(entity for _, entity in mine)
        short = facts.get("short", "")
        reads = _reads(group, ids)
        positions.append(
            Position(
                ids=ids,
                short=short,
                where=f"{where}/{short}",
                chip=facts.get("chip"),
                copies=_copies(reads),
                out_of_order=_out_of_order(reads),
            )
        )
    return tuple(positions)


def _reads(group: Sequence[_Book], position: frozenset[str]) -> list[Read]:
    """Return the reads of a position by date of the read, then by order of the records."""
    found = []
    for book in group:
        for order, stored, body in book.reads:
            told = book.facts.texts(stored.digest)
            if told.get("position", body.position) in position:
                found.append(_read(order, stored, body, told))
    return sorted(found, key=lambda read: (read.read_on, read.order))


def _read(order: int, stored: Stored, body: bodies.ReadBody, told: Mapping[str, str]) -> Read:
    taken_in = local_time(stored.record)
    stated = told.get("read_on", body.read_on)
    return Read(
        record=stored.digest,
        call=body.call,
        order=order,
        image=body.image,
        dumps=body.dumps,
        read_on=date.fromisoformat(stated[:10]) if stated else taken_in.date(),
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


def _last_sound_recheck(stored: Iterable[Stored]) -> datetime | None:
    sound = None
    for each in stored:
        if each.record.kind == "recheck":
            body = body_of(each.record, each.digest, bodies.RecheckBody)
            if body.damaged == 0:
                moment = local_time(each.record).astimezone(UTC)
                sound = max(moment, sound) if sound else moment
    return sound
