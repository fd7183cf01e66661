"""How every vessel is named, from the few records that tell of the vessels themselves.

What is aboard a vessel is in its other records, and is read only of the vessel asked for
(fold.py). The answer is that of all its records: a fact told once, or told again with the
same value, needs no order, and for others the order is proven, or walked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state import bodies
from parambak.keeping.state.facts import FactBook, told

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from parambak.keeping.state.bodies import Facts
    from parambak.keeping.state.known import Conflict
    from parambak.vault.vault import Stored, Vault


class Signboard:
    """What is told of one vessel identity itself: its names and numbers."""

    def __init__(self, identity: str, facts: FactBook) -> None:
        self.identity = identity
        self.facts = facts
        texts = facts.texts(identity)
        self.number = texts.get("imo")
        every = (
            texts.get("short", ""),
            *facts.earlier(identity, "short"),
            *facts.listed(identity, "former"),
        )
        self.names = frozenset(name.casefold() for name in every if name)


def signboards(vault: Vault) -> list[Signboard]:
    """Return the signboard of every vessel identity in a vault, in order."""
    whole = not vault.lacking()
    return [
        _signboard(vault, identity, telling, whole=whole)
        for identity, telling in sorted(vault.telling().items())
    ]


def one_ship_each(boards: Iterable[Signboard]) -> list[tuple[Signboard, ...]]:
    """Group identities that are one ship: IMO number and a name agree."""
    alone: list[tuple[Signboard, ...]] = []
    numbered: dict[str, list[list[Signboard]]] = {}
    for board in boards:
        if board.number is None:
            alone.append((board,))
            continue
        groups = numbered.setdefault(board.number, [])
        same = [group for group in groups if any(board.names & other.names for other in group)]
        joined = [board, *(each for group in same for each in group)]
        numbered[board.number] = [*(group for group in groups if group not in same), joined]
    every = [*alone, *(tuple(group) for groups in numbered.values() for group in groups)]
    return [tuple(sorted(group, key=lambda board: board.identity)) for group in every]


class Names(NamedTuple):
    """How one ship is named: by all identities that are it."""

    ids: frozenset[str]
    short: str
    facts: dict[str, str]
    former: tuple[str, ...]
    conflicts: tuple[Conflict, ...]


def names_of(ship: Sequence[Signboard]) -> Names:
    """Return how a ship is named, from the signboards of its identities in order."""
    facts, against = told((board, board.identity) for board in ship)
    former: list[str] = []
    for board in ship:
        book, identity = board.facts, board.identity
        former += [*book.listed(identity, "former"), *book.earlier(identity, "short")]
        former.append(book.texts(identity).get("short", ""))
    short = facts.get("short", ship[0].identity[:8])
    kept = dict.fromkeys(name for name in former if name and name != short)
    ids = frozenset(board.identity for board in ship)
    return Names(ids, short, facts, tuple(kept), against)


def with_handles(ships: Iterable[Names]) -> list[tuple[Names, str]]:
    """Return ships by handle: those that share a short name told apart by their first digits."""
    by_name: dict[str, list[Names]] = {}
    for ship in ships:
        by_name.setdefault(ship.short.casefold(), []).append(ship)
    named = []
    for _, group in sorted(by_name.items()):
        group.sort(key=lambda ship: min(ship.ids))
        digits = 4
        while len({min(ship.ids)[:digits] for ship in group}) < len(group):
            digits += 1
        for ship in group:
            alone = len(group) == 1
            named.append((ship, ship.short if alone else f"{ship.short}~{min(ship.ids)[:digits]}"))
    return named


def _signboard(vault: Vault, identity: str, telling: Sequence[Stored], *, whole: bool) -> Signboard:
    said = [(stored.digest, facts) for stored in telling for facts in _facts_of(stored, identity)]
    after: dict[str, Iterable[str]] = {}
    contested = _contested(said)
    if contested:
        after = _after(vault, identity, telling, contested, whole=whole)
        for record, _ in said:
            after.setdefault(record, ())
        order = {digest: at for at, digest in enumerate(after)}
        said.sort(key=lambda each: order[each[0]])
    book = FactBook(after)
    for record, facts in said:
        book.tell(identity, facts, record)
    return Signboard(identity, book)


def _after(
    vault: Vault,
    identity: str,
    telling: Sequence[Stored],
    contested: Iterable[set[str]],
    *,
    whole: bool,
) -> dict[str, Iterable[str]]:
    """Return what records are after, in causal order, as far as the contested facts need it.

    Where no record is lacking, every record is behind the one that is after nothing, if
    there is only one. Where that does not settle it, the vessel's history is walked.
    """
    first = [stored.digest for stored in telling if not stored.record.after]
    others = [records.difference(first) for records in contested]
    if whole and len(first) == 1 and all(len(records) == 1 for records in others):
        return {first[0]: (), **{record: first for records in others for record in records}}
    return {link.digest: link.record.after for link in vault.chain(identity)}


def _contested(said: Iterable[tuple[str, Facts]]) -> list[set[str]]:
    """Return for each fact that was told with two values the records that tell it."""
    records: dict[str, set[str]] = {}
    values: dict[str, list[object]] = {}
    for record, facts in said:
        for name, value in facts.items():
            records.setdefault(name, set()).add(record)
            values.setdefault(name, []).append(value)
    return [records[name] for name, told in values.items() if any(v != told[0] for v in told)]


def _facts_of(stored: Stored, identity: str) -> Iterator[Facts]:
    """Yield what a record tells of the vessel itself; nothing where it is misshapen."""
    kind = bodies.KINDS.get(stored.record.kind)
    if kind is None:
        return
    body = bodies.sound(stored, kind)
    if isinstance(body, bodies.AmendBody):
        if body.id == identity:
            yield body.facts
        return
    for entity in getattr(body, "new", ()):
        if entity.id == identity:
            yield entity.facts
