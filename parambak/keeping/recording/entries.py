"""Puts on record what needs no read: facts corrected or added, and the ship's rules."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.texts import (
    NAME,
    REMARK,
    check_date,
    check_short,
    check_texts,
    kept_name,
    read_imo,
    refuse_near,
)
from parambak.keeping.state import select
from parambak.keeping.state.bodies import CorrectBody, ShipsRulesBody
from parambak.keeping.state.cards import CARD_LOCATIONS
from parambak.keeping.state.fold import fleet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.state.bodies import Body, Facts
    from parambak.keeping.state.model import Fleet, Vessel
    from parambak.vault.vault import Vault, Writing

FACTS = {
    "vessel": ("short", "display", "imo", "other_number", "former"),
    "unit": ("short", "display", "maker_type", "serial", "installed_in"),
    "card": ("serial", "card_type", "location", "unit"),
    "position": ("short", "chip", "size"),
    "read": ("read_on", "position", "remark"),
}
CORRECT_NOTHING = Fault(
    "correct-nothing",
    CallRefused,
    "there is nothing to put on record",
    "Give at least one fact; `parambak correct --help` lists them.",
)
CORRECT_FACT = Fault(
    "correct-fact",
    CallRefused,
    "a {what} has no such fact",
    "Name the vessel, unit, position or copy (with @) that the fact belongs to.",
)
CORRECT_TAKEN = Fault(
    "correct-name-taken",
    CallRefused,
    "another {what} has that name already",
    "Type another short name.",
)
CORRECT_OTHER_VESSEL = Fault(
    "correct-other-vessel",
    CallRefused,
    "a read cannot be moved to another vessel: each vessel's records must be complete alone",
    "Archive the same dump again under the right vessel, and give this read a remark.",
)
CORRECT_LOCATION = Fault(
    "correct-location",
    CallRefused,
    "that is not a location of a card",
    "Give one of: in a unit, spare aboard, ashore, scrapped.",
)


class _About(NamedTuple):
    """What is corrected, in words, and its identities, each behind that of its vessel."""

    what: str
    words: str
    identities: tuple[tuple[str, str], ...]


def correct(
    vault: Vault, where: str, facts: Mapping[str, str], *, by: str | None, why: str | None
) -> tuple[str, tuple[str, ...]]:
    """Put facts of a vessel, unit, card, position or copy's newest read on record.

    There is one record for each identity of it. Return what they are about in words, and
    warnings.
    """
    texts = [(f"fact {name}", value, REMARK) for name, value in facts.items()]
    check_texts([*texts, ("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        ships = fleet(vault)
        vessel = select.vessel_at(ships, where.partition("@")[0])
        about = _about(ships, vessel, where)
        checked, warnings = _checked(ships, vessel, where, about.what, facts)
        for home, identity in about.identities:
            body = CorrectBody(what=about.what, id=identity, facts=checked, why=why)
            add_signed(writing, home, body, by)
    return about.words, warnings


def add_signed(writing: Writing, vessel: str, body: Body, by: str | None, *relies_on: str) -> None:
    """Write a record, and the person it is by."""
    mark = writing.person(by, vessel) if by else None
    writing.add(body.kind, vessel, body.members(), by=mark, relies_on=relies_on)


def _about(fleet: Fleet, vessel: Vessel, where: str) -> _About:
    """Return what a WHERE or COPY names."""
    if "@" in where:
        position, copy = select.find_copy(fleet, where)
        read = copy.newest
        words = f"the newest read of {select.copy_name(position, copy)}"
        return _About("read", words, ((read.vessel, read.record),))
    parts = select.parse_where(where)
    if parts.holder is None:
        ids = tuple((identity, identity) for identity in sorted(vessel.ids))
        return _About("vessel", f"vessel {vessel.handle}", ids)
    if parts.position is None:
        holder = select.find_holder(vessel, parts.holder)
        what = "card" if parts.holder.casefold().startswith(select.CARD) else "unit"
        return _About(what, f"{what} {holder.where}", vessel.homes(holder.ids))
    position = select.find_position(fleet, where)
    return _About("position", f"position {position.where}", vessel.homes(position.ids))


def _checked(
    fleet: Fleet, vessel: Vessel, where: str, what: str, facts: Mapping[str, str]
) -> tuple[Facts, tuple[str, ...]]:
    """Return the facts as they go on record, and warnings; raise if one cannot."""
    if not facts:
        raise CORRECT_NOTHING.error(expected="a fact", found="none")
    checked: Facts = {}
    warnings: list[str] = []
    for name, value in facts.items():
        if name not in FACTS[what]:
            raise CORRECT_FACT.error(what=what, expected=" or ".join(FACTS[what]), found=name)
        if name == "short" or (name == "serial" and what == "card"):
            _refuse_taken(fleet, vessel, where, what, check_short(value, what))
        checked[name] = value
        if name == "imo":
            checked[name], findings = read_imo(value)
            warnings += [finding.text for finding in findings]
        if name == "read_on":
            checked[name] = check_date(value)
        if name == "location" and value not in CARD_LOCATIONS:
            raise CORRECT_LOCATION.error(
                expected=" or ".join(CARD_LOCATIONS), found=repr(value[:80])
            )
        if name == "position":
            checked[name] = _position_aboard(fleet, vessel, value)
        if name == "former":
            checked[name] = [*vessel.former, value]
    return checked, tuple(warnings)


def _position_aboard(fleet: Fleet, vessel: Vessel, where: str) -> str:
    position = select.find_position(fleet, where)
    if all(position.ids != other.ids for other in vessel.positions):
        raise CORRECT_OTHER_VESSEL.error(
            expected=f"a position of {vessel.handle}", found=position.where
        )
    return position.id


def _refuse_taken(fleet: Fleet, vessel: Vessel, where: str, what: str, name: str) -> None:
    """Raise if a sibling has that name, apart from case and punctuation."""
    own_names: set[str] = set()
    siblings: list[str] = []
    parts = select.parse_where(where)
    if what == "vessel":
        siblings, own_names = [v.short for v in fleet.vessels], {vessel.short}
    elif what == "position" and parts.holder:
        holder = select.find_holder(vessel, parts.holder)
        siblings, own_names = [p.short for p in holder.positions], {parts.position or ""}
    elif what == "unit":
        siblings, own_names = [u.short for u in vessel.units], {parts.holder or ""}
    elif what == "card":
        siblings = [c.serial for c in vessel.cards]
        own_names = {(parts.holder or "")[len(select.CARD) :]}
    same = {sibling.casefold() for sibling in own_names}
    if name.casefold() in same:
        return
    others = [sibling for sibling in siblings if sibling.casefold() not in same]
    if name.casefold() in {sibling.casefold() for sibling in others}:
        raise CORRECT_TAKEN.error(what=what, expected="a name that is not in use", found=name)
    if what != "vessel":
        refuse_near(name, others, what)


def record_rules(vault: Vault, *, vessel: str, name: str, data: bytes, by: str | None) -> str:
    """Put a vessel's rules on record; the last recorded hold. Return the vessel's handle."""
    check_texts([("name of the person", by, NAME)])
    with vault.writing() as writing:
        ship = select.find_vessel(fleet(vault), vessel)
        rules = writing.put(data)
        body = ShipsRulesBody(rules=rules, name=kept_name(name))
        for identity in sorted(ship.ids):
            add_signed(writing, identity, body, by, rules)
    return ship.handle
