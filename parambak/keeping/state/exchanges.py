"""The cards of two like units, exchanged for fault-finding and put back.

While they are exchanged, a chip at a position of either unit carries the parameters of the
other. That is worked out from the records each time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.state import select
from parambak.keeping.state.bodies import CardsExchangedBody, body_of
from parambak.keeping.state.cards import cards_in
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.known import Unit
from parambak.keeping.state.record_sets import local_time
from parambak.keeping.state.texts import NAME, REMARK, check_texts
from parambak.vault.order import causal_order

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.recording.target import Target
    from parambak.keeping.state.known import Fleet, Vessel
    from parambak.vault.vault import Vault

    Pair = frozenset[str]

KIND = "cards-exchanged"

EXCHANGE_UNITS = Fault(
    "exchange-units",
    CallRefused,
    "cards are exchanged between two units of one vessel",
    "Name both as VESSEL/UNIT. For a card from elsewhere, open a swap.",
)
EXCHANGE_TWICE = Fault(
    "exchange-already",
    CallRefused,
    "the cards of {one} and {other} are exchanged already",
    "Put them back first, and say so with `parambak card exchange {one} {other} --back`.",
)
EXCHANGE_NONE = Fault(
    "exchange-none",
    CallRefused,
    "the cards of these two units are not exchanged, as far as the record goes",
    "Leave --back out to put an exchange on record; `parambak card list` shows those there are.",
)
EXCHANGED_READ = Fault(
    "exchange-read",
    CallRefused,
    "the cards of {one} and {other} are exchanged: the chip there carries the other's parameters",
    "Name the unit whose parameters it carries, and give --position-confirmed; or put the cards "
    "back first, and say so with `parambak card exchange {one} {other} --back`.",
)


class Exchange(NamedTuple):
    """Two units whose cards are exchanged: why, by whom (a mark), since which day."""

    units: tuple[Unit, Unit]
    why: str
    by: str | None
    on: date

    @property
    def said(self) -> str:
        """Return what that means, in words."""
        one, other = self.units
        mine, its = ({p.short.casefold(): p.short for p in unit.positions} for unit in self.units)
        shared = ", ".join(mine[key] for key in sorted(mine.keys() & its.keys()))
        chip = f"the chip in {shared} of either" if shared else "a chip in either"
        return (
            f"the cards of {one.where} and {other.where} are EXCHANGED since {self.on} "
            f"({self.why}): {chip} carries the parameters of the other until they are put back"
        )


def still_exchanged(
    told: Iterable[tuple[str, CardsExchangedBody]], same: Mapping[str, str]
) -> dict[Pair, str]:
    """Return the pairs of units that are exchanged, each with the record that says so.

    `told` are the records with their bodies in causal order; `same` gives for each identity
    of a unit the one that it is known by.
    """
    found: dict[Pair, str] = {}
    for record, body in told:
        pair = frozenset(same.get(unit, unit) for unit in body.units)
        if body.back:
            found.pop(pair, None)
        else:
            found.setdefault(pair, record)
    return found


def exchanges(vault: Vault, vessel: Vessel) -> tuple[Exchange, ...]:
    """Return the pairs of units aboard whose cards are exchanged now."""
    if not any(vault.of_kind(identity, KIND) for identity in vessel.ids):
        return ()
    every = causal_order([each for identity in vessel.ids for each in vault.records(identity)])
    mine = {each.digest: each for each in every if each.record.kind == KIND}
    told = [(d, body_of(each.record, d, CardsExchangedBody)) for d, each in mine.items()]
    units = {unit.id: unit for unit in vessel.units}
    same = {identity: unit.id for unit in vessel.units for identity in unit.ids}
    found = []
    for pair, record in still_exchanged(told, same).items():
        known = sorted((units[each] for each in pair if each in units), key=lambda u: u.short)
        if len(known) == 2:  # of a merged vessel the two may have become one
            stored = mine[record]
            body = body_of(stored.record, record, CardsExchangedBody)
            day = local_time(stored.record).date()
            found.append(Exchange((known[0], known[1]), body.why, stored.record.by, day))
    return tuple(found)


def notes(vault: Vault, vessel: Vessel, units: Sequence[Unit]) -> tuple[str, ...]:
    """Say for each of these units whether its card is exchanged with another's."""
    wanted = {unit.id for unit in units}
    return tuple(
        each.said
        for each in exchanges(vault, vessel)
        if not wanted.isdisjoint({unit.id for unit in each.units})
    )


def refuse_exchanged(
    vault: Vault, known: Fleet, target: Target, *, confirmed: bool
) -> tuple[str, ...]:
    """Raise where a read is filed under a unit whose card is exchanged; warn if confirmed."""
    vessels = select.vessels_named(known, target.vessel)
    if target.unit is None or len(vessels) != 1:
        return ()
    name = target.unit.casefold()
    for each in exchanges(vault, vessels[0]):
        names = [n.casefold() for unit in each.units for n in (unit.short, *unit.former)]
        if name in names:
            if confirmed:
                return (each.said,)
            one, other = (unit.where for unit in each.units)
            raise EXCHANGED_READ.error(
                one=one, other=other, expected="each card in its own unit", found=each.said
            )
    return ()


def exchange(  # noqa: PLR0913 - what is told of an exchange, all by keyword
    vault: Vault, one: str, other: str, *, why: str, by: str, back: bool
) -> tuple[Exchange, tuple[str, ...]]:
    """Put on record that the cards of two units were exchanged, or put back; and warnings."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        vessel, first, second = _two_units(fleet(vault), one, other)
        standing = _standing(exchanges(vault, vessel), first, second, back=back)
        cards = [cards_in(vessel, unit) for unit in (first, second)]
        known = all(len(each) == 1 for each in cards)
        homes = {vessel.home(i) for i in first.ids} & {vessel.home(i) for i in second.ids}
        for home in sorted(homes or {vessel.id}):
            body = CardsExchangedBody(
                units=(_identity(vessel, first, home), _identity(vessel, second, home)),
                why=why,
                cards=(cards[0][0].id, cards[1][0].id) if known else None,
                back=back,
            )
            writing.add(KIND, home, body.members(), by=writing.person(by, home))
    (told,) = standing or [each for each in exchanges(vault, vessel) if first in each.units]
    return told, _unlike(first, second)


def _two_units(known: Fleet, one: str, other: str) -> tuple[Vessel, Unit, Unit]:
    parts = [select.parse_where(each) for each in (one, other)]
    if any(part.holder is None or part.position is not None for part in parts):
        raise EXCHANGE_UNITS.error(expected="VESSEL/UNIT VESSEL/UNIT", found=f"{one} {other}"[:160])
    vessels = [select.find_vessel(known, part.vessel) for part in parts]
    first, second = (
        select.find_holder(v, p.holder or "") for v, p in zip(vessels, parts, strict=True)
    )
    if (
        vessels[0] is not vessels[1]
        or first is second
        or not isinstance(first, Unit)
        or not isinstance(second, Unit)
    ):
        expected = "two units of one vessel"
        raise EXCHANGE_UNITS.error(expected=expected, found=f"{first.where} and {second.where}")
    return vessels[0], first, second


def _standing(
    found: Sequence[Exchange], first: Unit, second: Unit, *, back: bool
) -> list[Exchange]:
    """Return the exchange that is put back; raise where the record says otherwise."""
    pair = {first.id, second.id}
    mine = [each for each in found if {unit.id for unit in each.units} == pair]
    if back and not mine:
        raise EXCHANGE_NONE.error(expected="an exchange of these two", found="none")
    taken = [each for each in found if not pair.isdisjoint({unit.id for unit in each.units})]
    if not back and taken:
        one, other = (unit.where for unit in taken[0].units)
        raise EXCHANGE_TWICE.error(
            one=one, other=other, expected="each card in its own unit", found=taken[0].said
        )
    return mine


def _identity(vessel: Vessel, unit: Unit, home: str) -> str:
    """Return the identity of a unit that one of the vessel's identities brought in."""
    return min((i for i in unit.ids if vessel.home(i) == home), default=unit.id)


def _unlike(first: Unit, second: Unit) -> tuple[str, ...]:
    """Say where the two are not known to be like units."""
    types = [unit.facts.get("maker_type") for unit in (first, second)]
    if types[0] is not None and types[1] is not None and types[0] != types[1]:
        said = f"{first.where} is a {types[0]} and {second.where} a {types[1]}"
        return (f"{said}: make sure that the maker allows a card of the one in the other",)
    return ()
