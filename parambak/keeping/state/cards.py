"""Cards: in which unit one is, and whether a sheet is for the unit or card that is meant."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import Fault, SheetRefused

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.state.known import Card, Unit, Vessel

IN_A_UNIT = "in a unit"

SHEET_OTHER = Fault(
    "sheet-other",
    SheetRefused,
    "the card sheet is for another {what}",
    "Take the sheet of the {what} that is meant; if a name under [for] is wrong, mend it there.",
)


def unit_of(vessel: Vessel, card: Card) -> Unit | None:
    """Return the unit that a card is on record as being in; None where it is in none."""
    if card.facts.get("whereabouts") != IN_A_UNIT:
        return None
    name = card.facts.get("unit", "").casefold()
    by_name = {former.casefold(): unit for unit in vessel.units for former in unit.former}
    by_name |= {unit.short.casefold(): unit for unit in vessel.units}
    return by_name.get(name)


def cards_in(vessel: Vessel, unit: Unit) -> tuple[Card, ...]:
    """Return the cards that are on record as being in a unit."""
    return tuple(card for card in vessel.cards if unit_of(vessel, card) is unit)


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
        known = (unit.short, *unit.former, unit.facts.get("display", ""))
        _refuse(target, "unit", unit.where, known)
    if serial is not None:
        _refuse(target, "card", f"card {serial}", (serial,))


def _refuse(target: Mapping[str, str], what: str, expected: str, known: tuple[str, ...]) -> None:
    named = target.get(what)
    if named is not None and named.casefold() not in {each.casefold() for each in known}:
        raise SHEET_OTHER.error(what=what, expected=expected, found=f"{what} {named[:80]}")
