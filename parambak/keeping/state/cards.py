"""Cards: in which unit one is, which are crossed over for fault-finding, and whom a sheet is for.

While the cards of two like units are crossed over, a chip at a position of either unit carries
the parameters of the other unit. The records are read for it each time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

from parambak.errors import Fault, SheetRefused
from parambak.keeping.state.bodies import CardsCrossedOverBody, body_of
from parambak.keeping.state.counting import withdrawals_of, without
from parambak.keeping.state.record_sets import local_time
from parambak.vault.order import causal_order

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.model import Card, Unit, Vessel
    from parambak.vault.vault import Vault

    Pair = frozenset[str]

CardLocation = Literal["in a unit", "spare aboard", "ashore", "scrapped"]
CARD_LOCATIONS: tuple[CardLocation, ...] = get_args(CardLocation)
IN_A_UNIT = CARD_LOCATIONS[0]
SHEET_OTHER = Fault(
    "sheet-other",
    SheetRefused,
    "the card sheet is for another {what}",
    "Give the sheet of the right {what}. If a name under [for] is wrong, correct it there.",
)


class CrossOver(NamedTuple):
    """Two units whose cards are crossed over: why, by whom (a mark), since which day."""

    units: tuple[Unit, Unit]
    why: str
    by: str | None
    on: date

    @property
    def text(self) -> str:
        """Return the cross-over and its effect in words."""
        first, second = self.units
        names, names_2 = ({p.short.casefold(): p.short for p in u.positions} for u in self.units)
        shared = ", ".join(names[key] for key in sorted(names.keys() & names_2.keys()))
        chip = f"the chip in {shared} of each unit" if shared else "a chip in each unit"
        return (
            f"the cards of {first.where} and {second.where} are CROSSED OVER since {self.on} "
            f"({self.why}): {chip} carries the parameters of the other until they are put back"
        )


def unit_of(vessel: Vessel, card: Card) -> Unit | None:
    """Return the unit that a card is in by the records; None if it is in none."""
    if card.facts.get("location") != IN_A_UNIT:
        return None
    name = card.facts.get("unit", "").casefold()
    by_name = {former.casefold(): unit for unit in vessel.units for former in unit.former}
    by_name |= {unit.short.casefold(): unit for unit in vessel.units}
    return by_name.get(name)


def cards_in(vessel: Vessel, unit: Unit) -> tuple[Card, ...]:
    """Return the cards that are in a unit by the records."""
    return tuple(card for card in vessel.cards if unit_of(vessel, card) is unit)


def still_crossed_over(
    records: Iterable[tuple[str, CardsCrossedOverBody]], same: Mapping[str, str]
) -> dict[Pair, str]:
    """Return the pairs of units that are crossed over, each with the record that states it.

    `records` are digests with their bodies in causal order; `same` gives for each identity of a
    unit the one that stands for the unit.
    """
    crossed_over: dict[Pair, str] = {}
    for record, body in records:
        pair = frozenset(same.get(unit, unit) for unit in body.units)
        if body.back:
            crossed_over.pop(pair, None)
        else:
            crossed_over.setdefault(pair, record)
    return crossed_over


def cross_overs(vault: Vault, vessel: Vessel) -> tuple[CrossOver, ...]:
    """Return the pairs of units aboard whose cards are crossed over now."""
    if not any(vault.of_kind(identity, CardsCrossedOverBody.kind) for identity in vessel.ids):
        return ()
    records = causal_order(
        [stored for identity in vessel.ids for stored in vault.records(identity)]
    )
    of_cross_overs = {
        stored.digest: stored
        for stored in without(records, withdrawals_of(records))
        if stored.record.kind == CardsCrossedOverBody.kind
    }
    with_bodies = [
        (d, body_of(stored.record, d, CardsCrossedOverBody)) for d, stored in of_cross_overs.items()
    ]
    units = {unit.id: unit for unit in vessel.units}
    same = {identity: unit.id for unit in vessel.units for identity in unit.ids}
    current = []
    for pair, record in still_crossed_over(with_bodies, same).items():
        pair_units = sorted((units[unit] for unit in pair if unit in units), key=lambda u: u.short)
        if len(pair_units) == 2:  # of a merged vessel the two may have become one
            stored = of_cross_overs[record]
            body = body_of(stored.record, record, CardsCrossedOverBody)
            day = local_time(stored.record).date()
            current.append(
                CrossOver((pair_units[0], pair_units[1]), body.why, stored.record.by, day)
            )
    return tuple(current)


def cross_over_notes(vault: Vault, vessel: Vessel, units: Sequence[Unit]) -> tuple[str, ...]:
    """Return a note for each cross-over of a card of these units."""
    ids = {unit.id for unit in units}
    return tuple(
        cross_over.text
        for cross_over in cross_overs(vault, vessel)
        if not ids.isdisjoint({unit.id for unit in cross_over.units})
    )


def refuse_other(
    target: Mapping[str, str], vessel: Vessel, unit: Unit | None, serial: str | None
) -> None:
    """Raise SheetRefused if a sheet names another vessel, unit or card.

    `target` is the content of its `[for]`: vessel, unit, card, each if given. A unit or serial
    number of None is not compared.
    """
    facts = vessel.facts
    imo = facts.get("imo", "")
    ship = (vessel.handle, vessel.short, *vessel.former, facts.get("display", ""))
    _refuse(target, "vessel", vessel.handle, (*ship, imo, f"IMO {imo}", f"IMO{imo}"))
    if unit is not None:
        names = (unit.short, *unit.former, unit.facts.get("display", ""))
        _refuse(target, "unit", unit.where, names)
    if serial is not None:
        _refuse(target, "card", f"card {serial}", (serial,))


def _refuse(target: Mapping[str, str], what: str, expected: str, names: tuple[str, ...]) -> None:
    named = target.get(what)
    if named is not None and named.casefold() not in {name.casefold() for name in names}:
        raise SHEET_OTHER.error(what=what, expected=expected, found=f"{what} {named[:80]}")
