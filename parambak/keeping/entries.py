"""What is told without a read: facts corrected or added, spare cards, card sheets."""

from __future__ import annotations

import secrets
from datetime import date
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.keeping import select
from parambak.keeping.bodies import AmendBody, CardSheetBody, EnteredBody, Entity
from parambak.keeping.fold import fleet
from parambak.keeping.names import check_short, refuse_near
from parambak.keeping.ship_identity import read_imo

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.bodies import Facts
    from parambak.keeping.known import Card, Fleet, Unit, Vessel
    from parambak.vault.vault import Vault

FACTS = {
    "vessel": ("short", "display", "imo", "other_number", "former"),
    "unit": ("short", "display", "maker_type", "serial", "stands"),
    "card": ("serial", "card_type", "whereabouts"),
    "position": ("short", "chip"),
    "read": ("read_on", "position", "remark"),
}
WHEREABOUTS = ("in a unit", "spare aboard", "ashore", "scrapped")

AMEND_NOTHING = Fault(
    "amend-nothing",
    CallRefused,
    "nothing to put on record",
    "Give at least one fact; `parambak amend --help` lists them.",
)
AMEND_FACT = Fault(
    "amend-fact",
    CallRefused,
    "a {what} has no such fact",
    "Name what the fact belongs to: a vessel, a unit, a position, or one copy with @.",
)
AMEND_TAKEN = Fault(
    "amend-name-taken",
    CallRefused,
    "another {what} has that name already",
    "Choose another short name.",
)
AMEND_DATE = Fault("amend-date", CallRefused, "that is no date", "Write the day as 2026-03-01.")


def check_date(text: str) -> str:
    """Return the ISO date; raise CallRefused where it is none."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise AMEND_DATE.at(expected="a day such as 2026-03-01", found=repr(text)) from error


def amend(
    vault: Vault, where: str, facts: Mapping[str, str], *, by: str | None, why: str | None
) -> tuple[str, tuple[str, ...]]:
    """Put facts of a vessel, unit, card, position or copy's newest read on record.

    Return what they are about in words, and warnings.
    """
    with vault.writing() as writing:
        known = fleet(vault)
        vessel = select.find_vessel(known, select.parse_where(where.partition("@")[0]).vessel)
        what, identity, said = _entity(known, vessel, where)
        told, warnings = _checked(known, vessel, where, what, facts)
        mark = writing.person(by, vessel.id) if by else None
        body = AmendBody(what=what, id=identity, facts=told, why=why)
        relies_on = [mark] if mark else []
        writing.add(
            "amend", _home(vessel, what, identity), body.members(), by=mark, relies_on=relies_on
        )
    return said, warnings


def _home(vessel: Vessel, what: str, identity: str) -> str:
    """Return the vessel identity that the record is about."""
    return identity if what == "vessel" else vessel.id


def _entity(known: Fleet, vessel: Vessel, where: str) -> tuple[str, str, str]:
    """Return what a WHERE or COPY names: its kind, its identity, and in words."""
    if "@" in where:
        position, copy = select.find_copy(known, where)
        return "read", copy.newest.record, f"the newest read of {select.copy_name(position, copy)}"
    parts = select.parse_where(where)
    if parts.holder is None:
        return "vessel", vessel.id, f"vessel {vessel.handle}"
    holder = select.find_holder(vessel, parts.holder)
    if parts.position is None:
        what = "card" if parts.holder.casefold().startswith(select.CARD) else "unit"
        return what, holder.id, f"{what} {holder.where}"
    position = select.find_position(known, where)
    return "position", position.id, f"position {position.where}"


def _checked(
    known: Fleet, vessel: Vessel, where: str, what: str, facts: Mapping[str, str]
) -> tuple[Facts, tuple[str, ...]]:
    """Return the facts as they go on record, and warnings; raise where one cannot."""
    if not facts:
        raise AMEND_NOTHING.at(expected="a fact", found="none")
    told: Facts = {}
    warnings: list[str] = []
    for name, value in facts.items():
        if name not in FACTS[what]:
            raise AMEND_FACT.at(what=what, expected=" or ".join(FACTS[what]), found=name)
        if name == "short" or (name == "serial" and what == "card"):
            _refuse_taken(known, vessel, where, what, check_short(value, what))
        told[name] = value
        if name == "imo":
            told[name], findings = read_imo(value)
            warnings += [finding.text for finding in findings]
        if name == "read_on":
            told[name] = check_date(value)
        if name == "position":
            told[name] = select.find_position(known, value).id
        if name == "former":
            told[name] = [*vessel.former, value]
    return told, tuple(warnings)


def _refuse_taken(known: Fleet, vessel: Vessel, where: str, what: str, name: str) -> None:
    """Raise where a sibling has that name, but for case and punctuation."""
    mine: set[str] = set()
    siblings: list[str] = []
    parts = select.parse_where(where)
    if what == "vessel":
        siblings, mine = [v.short for v in known.vessels], {vessel.short}
    elif what == "position" and parts.holder:
        holder = select.find_holder(vessel, parts.holder)
        siblings, mine = [p.short for p in holder.positions], {parts.position or ""}
    elif what == "unit":
        siblings, mine = [u.short for u in vessel.units], {parts.holder or ""}
    elif what == "card":
        siblings = [c.serial for c in vessel.cards]
        mine = {(parts.holder or "")[len(select.CARD) :]}
    own = {each.casefold() for each in mine}
    if name.casefold() in own:
        return
    others = [each for each in siblings if each.casefold() not in own]
    if what == "vessel" and name.casefold() not in {each.casefold() for each in others}:
        return
    refuse_near(name, others, what)


def enter_card(  # noqa: PLR0913 - what is known of a card, all by keyword
    vault: Vault,
    *,
    vessel: str,
    serial: str,
    whereabouts: str,
    card_type: str | None,
    by: str | None,
) -> tuple[str, bool]:
    """Put a card or its whereabouts on record; return its WHERE, and whether it is new."""
    check_short(serial, "card's serial number")
    with vault.writing() as writing:
        ship = select.find_vessel(fleet(vault), vessel)
        mark = writing.person(by, ship.id) if by else None
        relies_on = [mark] if mark else []
        facts: Facts = {"serial": serial, "whereabouts": whereabouts}
        if card_type:
            facts["card_type"] = card_type
        standing = {card.serial.casefold(): card for card in ship.cards}.get(serial.casefold())
        if standing is not None:
            told: Facts = {name: value for name, value in facts.items() if name != "serial"}
            amended = AmendBody(what="card", id=standing.id, facts=told)
            writing.add("amend", ship.id, amended.members(), by=mark, relies_on=relies_on)
            return standing.where, False
        refuse_near(serial, (card.serial for card in ship.cards), "card")
        entity = Entity(what="card", id=secrets.token_hex(16), facts=facts, inside=ship.id)
        writing.add(
            "entered", ship.id, EnteredBody(new=(entity,)).members(), by=mark, relies_on=relies_on
        )
    return f"{ship.handle}/{select.CARD}{serial}", True


def record_sheet(
    vault: Vault, *, where: str, name: str, data: bytes, by: str | None
) -> Unit | Card:
    """Put the card sheet of a unit on record; return the unit."""
    with vault.writing() as writing:
        parts = select.parse_where(where)
        ship = select.find_vessel(fleet(vault), parts.vessel)
        holder = select.find_holder(ship, parts.holder or "")
        mark = writing.person(by, ship.id) if by else None
        sheet = writing.put(data)
        body = CardSheetBody(unit=holder.id, sheet=sheet, name=name)
        relies_on = [sheet, *([mark] if mark else [])]
        writing.add("card-sheet", ship.id, body.members(), by=mark, relies_on=relies_on)
    return holder
