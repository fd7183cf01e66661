"""Puts cards on record: where one is, what its sheet states, which two are crossed over."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.entries import add_signed
from parambak.keeping.recording.filing import new_identity
from parambak.keeping.recording.texts import (
    NAME,
    REMARK,
    check_short,
    check_texts,
    kept_name,
    refuse_near,
)
from parambak.keeping.state import select
from parambak.keeping.state.bodies import (
    CardsCrossedOverBody,
    CardSheetBody,
    CorrectBody,
    EnteredBody,
    Entity,
    SheetOfCardBody,
)
from parambak.keeping.state.cards import (
    IN_A_UNIT,
    SHEET_OTHER,
    cards_in,
    cross_overs,
    refuse_other,
)
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Unit

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.keeping.state.bodies import Facts
    from parambak.keeping.state.cards import CrossOver
    from parambak.keeping.state.model import Card, Fleet, Vessel
    from parambak.vault.vault import Vault

CARD_UNIT = Fault(
    "card-unit",
    CallRefused,
    "--unit names the unit of a card that is in a unit, and of no other card",
    "Give --location 'in a unit' together with --unit NAME, or another location without --unit.",
)
SHEET_WHERE = Fault(
    "sheet-where",
    CallRefused,
    "a card sheet belongs to a unit or to a card, not to one of its positions",
    "Write VESSEL/UNIT, or VESSEL/card:SERIAL. The sheet itself names the program memories.",
)
CROSS_OVER_UNITS = Fault(
    "cross-over-units",
    CallRefused,
    "a card cross-over is between two units of one vessel",
    "Name both as VESSEL/UNIT. For a card from elsewhere, open a swap.",
)
CROSS_OVER_TWICE = Fault(
    "cross-over-already",
    CallRefused,
    "the cards of {one} and {other} are crossed over already",
    "Put them back first, and record that: `parambak card cross-over {one} {other} --back`.",
)
CROSS_OVER_NONE = Fault(
    "cross-over-none",
    CallRefused,
    "no cross-over of the cards of these two units is on record",
    "To record a cross-over, leave out --back. `parambak card list` shows those on record.",
)


def enter_card(  # noqa: PLR0913 - the facts of a card, all by keyword
    vault: Vault,
    *,
    vessel: str,
    serial: str,
    location: str,
    card_type: str | None,
    by: str | None,
    unit: str | None = None,
) -> tuple[str, bool]:
    """Put a card or its location on record; return its WHERE, and whether it is new.

    `unit` names the unit that it is in.
    """
    check_short(serial, "card's serial number")
    if (location == IN_A_UNIT) != (unit is not None):
        found = f"{location}, {unit or 'no unit'}"
        raise CARD_UNIT.error(expected="in a unit, and its name", found=found[:80])
    check_texts([("card's type", card_type, NAME), ("name of the person", by, NAME)])
    with vault.writing() as writing:
        ship = select.find_vessel(fleet(vault), vessel)
        facts: Facts = {"serial": serial, "location": location}
        if unit is not None:
            facts["unit"] = _unit_aboard(ship, unit)
        if card_type:
            facts["card_type"] = card_type
        card = {card.serial.casefold(): card for card in ship.cards}.get(serial.casefold())
        if card is not None:
            corrected: Facts = {name: value for name, value in facts.items() if name != "serial"}
            if unit is None and card.facts.get("unit"):
                corrected["unit"] = ""  # it has left that one
            for home, identity in ship.homes(card.ids):
                add_signed(
                    writing, home, CorrectBody(what="card", id=identity, facts=corrected), by
                )
            return card.where, False
        refuse_near(serial, (card.serial for card in ship.cards), "card")
        entity = Entity(what="card", id=new_identity(), facts=facts, inside=ship.id)
        add_signed(writing, ship.id, EnteredBody(new=(entity,)), by)
    return f"{ship.handle}/{select.CARD}{serial}", True


def _unit_aboard(ship: Vessel, name: str) -> str:
    """Return the short name of a unit; raise if it names none, or a card."""
    if name.casefold().startswith(select.CARD):
        raise CARD_UNIT.error(expected="the name of a unit", found=repr(name[:80]))
    holder = select.find_holder(ship, name)
    return holder.short if isinstance(holder, Unit) else ""


def record_sheet(  # noqa: PLR0913 - the facts of a sheet, all by keyword
    vault: Vault,
    *,
    where: str,
    name: str,
    data: bytes,
    by: str | None,
    target: Mapping[str, str] | None = None,
) -> Unit | Card:
    """Put the card sheet of a unit or of a card on record; return the unit or card.

    `target` is what the sheet is for by its own `[for]`; raise SheetRefused if that is another.
    """
    check_texts([("name of the person", by, NAME)])
    parts = select.parse_where(where)
    if parts.holder is None or parts.position is not None:
        raise SHEET_WHERE.error(
            expected="VESSEL/UNIT or VESSEL/card:SERIAL", found=repr(where[:80])
        )
    with vault.writing() as writing:
        ship = select.find_vessel(fleet(vault), parts.vessel)
        holder = select.find_holder(ship, parts.holder)
        _refuse_other(target or {}, ship, holder)
        sheet = writing.put(data)
        for home, identity in ship.homes(holder.ids):
            kept = kept_name(name)
            if isinstance(holder, Unit):
                body = CardSheetBody(unit=identity, sheet=sheet, name=kept)
                add_signed(writing, home, body, by, sheet)
            else:
                of_card = SheetOfCardBody(card=identity, sheet=sheet, name=kept)
                add_signed(writing, home, of_card, by, sheet)
    return holder


def _refuse_other(target: Mapping[str, str], ship: Vessel, holder: Unit | Card) -> None:
    """Raise if a sheet is for another unit or card than it is recorded for."""
    if not isinstance(holder, Unit):
        refuse_other(target, ship, None, holder.serial)
        return
    refuse_other(target, ship, holder, None)
    if "card" in target and "unit" not in target:
        found = f"card {target['card'][:80]}"
        raise SHEET_OTHER.error(what="unit", expected=holder.where, found=found)


def record_cross_over(  # noqa: PLR0913 - the facts of a cross-over, all by keyword
    vault: Vault, one: str, other: str, *, why: str, by: str, back: bool
) -> tuple[CrossOver, tuple[str, ...]]:
    """Put on record that the cards of two units were crossed over, or put back; and warnings."""
    check_texts([("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        vessel, first, second = _two_units(fleet(vault), one, other)
        before = _crossed_over(cross_overs(vault, vessel), first, second, back=back)
        cards = [cards_in(vessel, unit) for unit in (first, second)]
        certain = all(len(in_unit) == 1 for in_unit in cards)
        homes = {vessel.home(i) for i in first.ids} & {vessel.home(i) for i in second.ids}
        for home in sorted(homes or {vessel.id}):
            body = CardsCrossedOverBody(
                units=(_identity(vessel, first, home), _identity(vessel, second, home)),
                why=why,
                cards=(cards[0][0].id, cards[1][0].id) if certain else None,
                back=back,
            )
            writing.add(body.kind, home, body.members(), by=writing.person(by, home))
    (cross_over,) = before or [new for new in cross_overs(vault, vessel) if first in new.units]
    return cross_over, _unlike(first, second)


def _two_units(fleet: Fleet, one: str, other: str) -> tuple[Vessel, Unit, Unit]:
    parts = [select.parse_where(where) for where in (one, other)]
    if any(part.holder is None or part.position is not None for part in parts):
        raise CROSS_OVER_UNITS.error(
            expected="VESSEL/UNIT VESSEL/UNIT", found=f"{one} {other}"[:160]
        )
    vessels = [select.find_vessel(fleet, part.vessel) for part in parts]
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
        raise CROSS_OVER_UNITS.error(expected=expected, found=f"{first.where} and {second.where}")
    return vessels[0], first, second


def _crossed_over(
    cross_overs: Sequence[CrossOver], first: Unit, second: Unit, *, back: bool
) -> list[CrossOver]:
    """Return the cross-over that is put back; raise if the records state otherwise."""
    pair = {first.id, second.id}
    of_pair = [
        cross_over for cross_over in cross_overs if {unit.id for unit in cross_over.units} == pair
    ]
    if back and not of_pair:
        raise CROSS_OVER_NONE.error(expected="a cross-over of these two", found="none")
    overlapping = [
        cross_over
        for cross_over in cross_overs
        if not pair.isdisjoint({unit.id for unit in cross_over.units})
    ]
    if not back and overlapping:
        one, other = (unit.where for unit in overlapping[0].units)
        raise CROSS_OVER_TWICE.error(
            one=one, other=other, expected="each card in its own unit", found=overlapping[0].text
        )
    return of_pair


def _identity(vessel: Vessel, unit: Unit, home: str) -> str:
    """Return the identity of a unit that one of the vessel's identities brought in."""
    return min((i for i in unit.ids if vessel.home(i) == home), default=unit.id)


def _unlike(first: Unit, second: Unit) -> tuple[str, ...]:
    """Return a warning if the two units are of different types."""
    types = [unit.facts.get("maker_type") for unit in (first, second)]
    if types[0] is not None and types[1] is not None and types[0] != types[1]:
        differ = f"{first.where} is a {types[0]} and {second.where} a {types[1]}"
        return (f"{differ}: make sure that the maker allows their cards to be exchanged",)
    return ()
