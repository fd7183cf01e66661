"""What is told without a read: facts corrected or added, spare cards, card sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.identities import new_identity
from parambak.keeping.state import select
from parambak.keeping.state.bodies import (
    AmendBody,
    CardSheetBody,
    EnteredBody,
    Entity,
    SheetOfCardBody,
)
from parambak.keeping.state.cards import IN_A_UNIT, SHEET_OTHER, refuse_other
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.known import Unit
from parambak.keeping.state.names import check_short, refuse_near
from parambak.keeping.state.ship_identity import read_imo
from parambak.keeping.state.texts import NAME, REMARK, check_date, check_texts, kept_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from parambak.keeping.state.bodies import Body, Facts
    from parambak.keeping.state.known import Card, Fleet, Vessel
    from parambak.vault.vault import Vault, Writing

__all__ = ["FACTS", "WHEREABOUTS", "amend", "check_date", "enter_card", "record_sheet"]

FACTS = {
    "vessel": ("short", "display", "imo", "other_number", "former"),
    "unit": ("short", "display", "maker_type", "serial", "stands"),
    "card": ("serial", "card_type", "whereabouts", "unit"),
    "position": ("short", "chip"),
    "read": ("read_on", "position", "remark"),
}
WHEREABOUTS = (IN_A_UNIT, "spare aboard", "ashore", "scrapped")

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
AMEND_OTHER_VESSEL = Fault(
    "amend-other-vessel",
    CallRefused,
    "a read cannot be moved to another vessel: each vessel's records must be whole alone",
    "Archive the same dump again under the right vessel, and put a remark on this read.",
)
AMEND_WHEREABOUTS = Fault(
    "amend-whereabouts",
    CallRefused,
    "a card cannot be there",
    "Say in a unit, spare aboard, ashore or scrapped.",
)


CARD_UNIT = Fault(
    "card-unit",
    CallRefused,
    "a card that is in a unit is in one that is named, and any other is in none",
    "Give --whereabouts 'in a unit' with --unit NAME, or another whereabouts without it.",
)
SHEET_WHERE = Fault(
    "sheet-where",
    CallRefused,
    "a card sheet is kept for a unit or for a card, not for one of its positions",
    "Write VESSEL/UNIT, or VESSEL/card:SERIAL; program memories are named inside the sheet.",
)


class _About(NamedTuple):
    """What is amended, in words, and its identities, each behind that of its vessel."""

    what: str
    said: str
    identities: tuple[tuple[str, str], ...]


def amend(
    vault: Vault, where: str, facts: Mapping[str, str], *, by: str | None, why: str | None
) -> tuple[str, tuple[str, ...]]:
    """Put facts of a vessel, unit, card, position or copy's newest read on record.

    One record for each identity that it is known under. Return what they are about in
    words, and warnings.
    """
    texts = [(f"fact {name}", value, REMARK) for name, value in facts.items()]
    check_texts([*texts, ("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        known = fleet(vault)
        vessel = select.vessel_at(known, where.partition("@")[0])
        about = _about(known, vessel, where)
        told, warnings = _checked(known, vessel, where, about.what, facts)
        for home, identity in about.identities:
            body = AmendBody(what=about.what, id=identity, facts=told, why=why)
            _add(writing, "amend", home, body, by)
    return about.said, warnings


def _add(
    writing: Writing, kind: str, vessel: str, body: Body, by: str | None, *relies_on: str
) -> None:
    """Write a record, and the person it is by."""
    mark = writing.person(by, vessel) if by else None
    writing.add(kind, vessel, body.members(), by=mark, relies_on=relies_on)


def _about(known: Fleet, vessel: Vessel, where: str) -> _About:
    """Return what a WHERE or COPY names."""
    if "@" in where:
        position, copy = select.find_copy(known, where)
        read = copy.newest
        said = f"the newest read of {select.copy_name(position, copy)}"
        return _About("read", said, ((read.vessel, read.record),))
    parts = select.parse_where(where)
    if parts.holder is None:
        ids = tuple((identity, identity) for identity in sorted(vessel.ids))
        return _About("vessel", f"vessel {vessel.handle}", ids)
    if parts.position is None:
        holder = select.find_holder(vessel, parts.holder)
        what = "card" if parts.holder.casefold().startswith(select.CARD) else "unit"
        return _About(what, f"{what} {holder.where}", _homes(vessel, holder.ids))
    position = select.find_position(known, where)
    return _About("position", f"position {position.where}", _homes(vessel, position.ids))


def _homes(vessel: Vessel, ids: Iterable[str]) -> tuple[tuple[str, str], ...]:
    return tuple((vessel.home(identity), identity) for identity in sorted(ids))


def _checked(
    known: Fleet, vessel: Vessel, where: str, what: str, facts: Mapping[str, str]
) -> tuple[Facts, tuple[str, ...]]:
    """Return the facts as they go on record, and warnings; raise where one cannot."""
    if not facts:
        raise AMEND_NOTHING.error(expected="a fact", found="none")
    told: Facts = {}
    warnings: list[str] = []
    for name, value in facts.items():
        if name not in FACTS[what]:
            raise AMEND_FACT.error(what=what, expected=" or ".join(FACTS[what]), found=name)
        if name == "short" or (name == "serial" and what == "card"):
            _refuse_taken(known, vessel, where, what, check_short(value, what))
        told[name] = value
        if name == "imo":
            told[name], findings = read_imo(value)
            warnings += [finding.text for finding in findings]
        if name == "read_on":
            told[name] = check_date(value)
        if name == "whereabouts" and value not in WHEREABOUTS:
            raise AMEND_WHEREABOUTS.error(expected=" or ".join(WHEREABOUTS), found=repr(value[:80]))
        if name == "position":
            told[name] = _position_aboard(known, vessel, value)
        if name == "former":
            told[name] = [*vessel.former, value]
    return told, tuple(warnings)


def _position_aboard(known: Fleet, vessel: Vessel, where: str) -> str:
    position = select.find_position(known, where)
    if all(position.ids != each.ids for each in vessel.positions):
        raise AMEND_OTHER_VESSEL.error(
            expected=f"a position of {vessel.handle}", found=position.where
        )
    return position.id


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
    if name.casefold() in {each.casefold() for each in others}:
        raise AMEND_TAKEN.error(what=what, expected="a name of its own", found=name)
    if what != "vessel":
        refuse_near(name, others, what)


def enter_card(  # noqa: PLR0913 - what is known of a card, all by keyword
    vault: Vault,
    *,
    vessel: str,
    serial: str,
    whereabouts: str,
    card_type: str | None,
    by: str | None,
    unit: str | None = None,
) -> tuple[str, bool]:
    """Put a card or its whereabouts on record; return its WHERE, and whether it is new.

    `unit` names the unit that it is in.
    """
    check_short(serial, "card's serial number")
    if (whereabouts == IN_A_UNIT) != (unit is not None):
        found = f"{whereabouts}, {unit or 'no unit'}"
        raise CARD_UNIT.error(expected="in a unit, and its name", found=found[:80])
    check_texts([("card's type", card_type, NAME), ("name of the person", by, NAME)])
    with vault.writing() as writing:
        ship = select.find_vessel(fleet(vault), vessel)
        facts: Facts = {"serial": serial, "whereabouts": whereabouts}
        if unit is not None:
            facts["unit"] = _unit_aboard(ship, unit)
        if card_type:
            facts["card_type"] = card_type
        standing = {card.serial.casefold(): card for card in ship.cards}.get(serial.casefold())
        if standing is not None:
            told: Facts = {name: value for name, value in facts.items() if name != "serial"}
            if unit is None and standing.facts.get("unit"):
                told["unit"] = ""  # it has left that one
            for home, identity in _homes(ship, standing.ids):
                _add(writing, "amend", home, AmendBody(what="card", id=identity, facts=told), by)
            return standing.where, False
        refuse_near(serial, (card.serial for card in ship.cards), "card")
        entity = Entity(what="card", id=new_identity(), facts=facts, inside=ship.id)
        _add(writing, "entered", ship.id, EnteredBody(new=(entity,)), by)
    return f"{ship.handle}/{select.CARD}{serial}", True


def _unit_aboard(ship: Vessel, name: str) -> str:
    """Return the short name of a unit; raise where it names none, or a card."""
    if name.casefold().startswith(select.CARD):
        raise CARD_UNIT.error(expected="the name of a unit", found=repr(name[:80]))
    holder = select.find_holder(ship, name)
    return holder.short if isinstance(holder, Unit) else ""


def record_sheet(  # noqa: PLR0913 - what is known of a sheet, all by keyword
    vault: Vault,
    *,
    where: str,
    name: str,
    data: bytes,
    by: str | None,
    target: Mapping[str, str] | None = None,
) -> Unit | Card:
    """Put the card sheet of a unit or of a card on record; return what it is kept for.

    `target` is what the sheet says that it is for; raise SheetRefused where that is another.
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
        for home, identity in _homes(ship, holder.ids):
            kept = kept_name(name)
            if isinstance(holder, Unit):
                body = CardSheetBody(unit=identity, sheet=sheet, name=kept)
                _add(writing, "card-sheet", home, body, by, sheet)
            else:
                own = SheetOfCardBody(card=identity, sheet=sheet, name=kept)
                _add(writing, "sheet-of-card", home, own, by, sheet)
    return holder


def _refuse_other(target: Mapping[str, str], ship: Vessel, holder: Unit | Card) -> None:
    """Raise where a sheet is for something else than it is recorded for."""
    if not isinstance(holder, Unit):
        refuse_other(target, ship, None, holder.serial)
        return
    refuse_other(target, ship, holder, None)
    if "card" in target and "unit" not in target:
        found = f"card {target['card'][:80]}"
        raise SHEET_OTHER.error(what="unit", expected=holder.where, found=found)
