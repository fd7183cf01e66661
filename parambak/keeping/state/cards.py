"""Cards: in which unit one is, which are crossed over for fault-finding, and whom a sheet is for.

While the cards of two like units are crossed over, a chip at a position of either unit carries
the parameters of the other. That is worked out from the records each time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

from parambak.errors import Fault, SheetRefused
from parambak.keeping.state.bodies import CardsCrossedOverBody, body_of
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
    "Take the sheet of the {what} that is meant; if a name under [for] is wrong, mend it there.",
)


class CrossOver(NamedTuple):
    """Two units whose cards are crossed over: why, by whom (a mark), since which day."""

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


def unit_of(vessel: Vessel, card: Card) -> Unit | None:
    """Return the unit that a card is on record as being in; None where it is in none."""
    if card.facts.get("location") != IN_A_UNIT:
        return None
    name = card.facts.get("unit", "").casefold()
    by_name = {former.casefold(): unit for unit in vessel.units for former in unit.former}
    by_name |= {unit.short.casefold(): unit for unit in vessel.units}
    return by_name.get(name)


def cards_in(vessel: Vessel, unit: Unit) -> tuple[Card, ...]:
    """Return the cards that are on record as being in a unit."""
    return tuple(card for card in vessel.cards if unit_of(vessel, card) is unit)


def still_crossed_over(
    records: Iterable[tuple[str, CardsCrossedOverBody]], same: Mapping[str, str]
) -> dict[Pair, str]:
    """Return the pairs of units that are crossed over, each with the record that says so.

    `told` are the records with their bodies in causal order; `same` gives for each identity
    of a unit the one that it is known by.
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
        for stored in records
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
    """Say for each of these units whether its card is crossed over with another's."""
    ids = {unit.id for unit in units}
    return tuple(
        cross_over.said
        for cross_over in cross_overs(vault, vessel)
        if not ids.isdisjoint({unit.id for unit in cross_over.units})
    )


def refuse_other(
    target: Mapping[str, str], vessel: Vessel, unit: Unit | None, serial: str | None
) -> None:
    """Raise SheetRefused where a sheet names another vessel, unit or card than is meant.

    `target` is what stands under its `[for]`: vessel, unit, card, each if at all. A unit or
    serial number of None is not asked for.
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
