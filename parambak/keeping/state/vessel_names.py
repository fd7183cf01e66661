"""How every vessel is named, from the few records that state facts of the vessels themselves.

What is aboard a vessel is in its other records, which are read only for the vessel asked for
(fold.py). The answer is that of all its records: a fact stated once, or again with the same
value, needs no order; for other facts the order is proven, or the vessel's history is walked.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state import bodies
from parambak.keeping.state.counting import show_something, without
from parambak.keeping.state.facts import FactHistory, conflicts, merged_facts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from parambak.keeping.state.bodies import Facts
    from parambak.keeping.state.counting import Withdrawals
    from parambak.keeping.state.unsettled import Conflict
    from parambak.vault.vault import Stored, Vault

    Statements = Iterable[tuple[str, Facts]]  # each the digest of a record and its facts


class VesselIdentity:
    """What is recorded of one vessel identity itself: its names and its IMO number."""

    def __init__(self, identity: str, facts: FactHistory) -> None:
        self.identity = identity
        self.facts = facts
        texts = facts.texts(identity)
        self.number = texts.get("imo")
        names = (
            texts.get("short", ""),
            *facts.earlier(identity, "short"),
            *facts.listed(identity, "former"),
        )
        self.names = frozenset(name.casefold() for name in names if name)


def vessel_identities(vault: Vault, withdrawn: Mapping[str, Withdrawals]) -> list[VesselIdentity]:
    """Return every vessel identity in a vault, in order.

    `withdrawn` has by vessel the records that do not count. A vessel is gone if none that counts
    shows that there is one.
    """
    complete = not vault.missing_records()
    return [
        _vessel_identity(vault, identity, stored, withdrawn.get(identity, {}), complete=complete)
        for identity, stored in sorted(vault.telling().items())
        if identity not in withdrawn
        or show_something(without(vault.records(identity), withdrawn[identity]))
    ]


def grouped_by_vessel(identities: Iterable[VesselIdentity]) -> list[tuple[VesselIdentity, ...]]:
    """Group identities that are one ship: IMO number and a name agree."""
    groups: list[list[VesselIdentity]] = []
    numbered: dict[str, list[list[VesselIdentity]]] = {}
    for identity in identities:
        if identity.number is None:
            groups.append([identity])
            continue
        of_number = numbered.setdefault(identity.number, [])
        same = [g for g in of_number if any(identity.names & member.names for member in g)]
        joined = [identity, *(member for group in same for member in group)]
        numbered[identity.number] = [*(group for group in of_number if group not in same), joined]
    groups += [group for of_number in numbered.values() for group in of_number]
    return [tuple(sorted(group, key=lambda member: member.identity)) for group in groups]


class VesselNames(NamedTuple):
    """How one ship is named: by all identities that are it."""

    ids: frozenset[str]
    short: str
    facts: dict[str, str]
    former: tuple[str, ...]
    values: dict[str, tuple[str, ...]]

    def conflicts(self, handle: str) -> tuple[Conflict, ...]:
        """Return the facts that two records state differently, of the ship of that handle."""
        return conflicts(self.values, handle)


def names_of(ship: Sequence[VesselIdentity]) -> VesselNames:
    """Return how a ship is named, from its identities in order."""
    facts, values = merged_facts((member, member.identity) for member in ship)
    former: list[str] = []
    for member in ship:
        former += member.facts.listed(member.identity, "former")
        former += member.facts.earlier(member.identity, "short")
        former.append(member.facts.texts(member.identity).get("short", ""))
    short = facts.get("short", ship[0].identity[:8])
    kept = dict.fromkeys(name for name in former if name and name != short)
    ids = frozenset(member.identity for member in ship)
    return VesselNames(ids, short, facts, tuple(kept), values)


def with_handles(ships: Iterable[VesselNames]) -> list[tuple[VesselNames, str]]:
    """Return ships by handle; equal short names get the first digits of an identity."""
    by_name: dict[str, list[VesselNames]] = {}
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


def _vessel_identity(
    vault: Vault,
    identity: str,
    stored: Sequence[Stored],
    withdrawn: Mapping[str, object],
    *,
    complete: bool,
) -> VesselIdentity:
    statements = [
        (s.digest, facts)
        for s in stored
        for facts in _facts_of(s, identity, withdrawn=s.digest in withdrawn)
    ]
    after: dict[str, Iterable[str]] = {}
    disputed = _disputed(statements)
    if disputed:
        after = _after(vault, identity, stored, disputed, complete=complete)
        for record, _ in statements:
            after.setdefault(record, ())
        order = {digest: at for at, digest in enumerate(after)}
        statements.sort(key=lambda statement: order[statement[0]])
    history = FactHistory(after)
    for record, facts in statements:
        history.add(identity, facts, record)
    return VesselIdentity(identity, history)


def _after(
    vault: Vault,
    identity: str,
    stored: Sequence[Stored],
    disputed: Iterable[set[str]],
    *,
    complete: bool,
) -> dict[str, Iterable[str]]:
    """Return what records are after, in causal order, as far as the disputed facts need it.

    If no record is missing, all records are after the first one, if there is only one. If that
    does not give the order, the vessel's history is walked.
    """
    first = [s.digest for s in stored if not s.record.after]
    later = [records.difference(first) for records in disputed]
    if complete and len(first) == 1 and all(len(records) == 1 for records in later):
        return {first[0]: (), **{record: first for records in later for record in records}}
    return {link.digest: link.record.after for link in vault.chain(identity)}


def _disputed(statements: Statements) -> list[set[str]]:
    """Return for each fact that has two values the records that state it."""
    records: dict[str, set[str]] = {}
    values: dict[str, list[object]] = {}
    for record, facts in statements:
        for name, value in facts.items():
            records.setdefault(name, set()).add(record)
            values.setdefault(name, []).append(value)
    return [records[name] for name, stated in values.items() if any(v != stated[0] for v in stated)]


def _facts_of(stored: Stored, identity: str, *, withdrawn: bool) -> Iterator[Facts]:
    """Yield what a record states of the vessel itself; nothing if it is misshapen.

    The record that brought it in gives its facts even if it is `withdrawn`, as long as the vessel
    is there.
    """
    kind = bodies.KINDS.get(stored.record.kind)
    body = bodies.sound(stored, kind) if kind is not None else None
    if isinstance(body, bodies.CorrectBody):
        if body.id == identity and not withdrawn:
            yield body.facts
    elif body is not None:
        for entity in bodies.new_entities(body):
            if entity.id == identity:
                yield entity.facts
