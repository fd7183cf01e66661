"""Puts on record what needs no read: facts corrected or added, and the ship's rules."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.moving import (
    CORRECT_FACT,
    CORRECT_NOTHING,
    NONE_CONFIRMED,
    READ_FACTS,
    Confirmed,
    Corrected,
    correct_reads,
)
from parambak.keeping.recording.texts import (
    NAME,
    REMARK,
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
    from collections.abc import Mapping, Sequence

    from parambak.keeping.state.bodies import Body, Facts
    from parambak.keeping.state.model import Fleet, Vessel
    from parambak.vault.vault import Vault, Writing

FACTS = {
    "vessel": ("short", "display", "imo", "other_number", "former"),
    "unit": ("short", "display", "maker_type", "serial", "installed_in"),
    "card": ("serial", "card_type", "location", "unit"),
    "position": ("short", "chip", "size"),
    "read": READ_FACTS,
}
CORRECT_TAKEN = Fault(
    "correct-name-taken",
    CallRefused,
    "another {what} has that name already",
    "Type another short name.",
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


def correct(  # noqa: PLR0913 - the facts, and who states them
    vault: Vault,
    where: str,
    facts: Mapping[str, str],
    *,
    by: str | None,
    why: str | None,
    reads: Sequence[str] = (),
    confirmed: Confirmed = NONE_CONFIRMED,
) -> Corrected:
    """Put facts of a vessel, unit, card, position or of reads on record.

    Of a COPY they are facts of all reads that one `archive` kept with its newest read, or of
    those `reads` of them; with a WHERE, of these reads there. There is one record for each
    identity.
    """
    texts = [(f"fact {name}", value, REMARK) for name, value in facts.items()]
    check_texts([*texts, ("name of the person", by, NAME), ("reason", why, REMARK)])
    with vault.writing() as writing:
        ships = fleet(vault)
        if "@" in where or reads:
            return correct_reads(
                vault,
                writing,
                ships,
                where,
                facts,
                names=reads,
                confirmed=confirmed,
                by=by,
                why=why,
            )
        vessel = select.vessel_at(ships, where)
        about = _about(ships, vessel, where)
        checked, warnings = _checked(ships, vessel, where, about.what, facts)
        for home, identity in about.identities:
            body = CorrectBody(what=about.what, id=identity, facts=checked, why=why)
            add_signed(writing, home, body, by)
    return Corrected(about.words, warnings, facts=facts)


def add_signed(writing: Writing, vessel: str, body: Body, by: str | None, *relies_on: str) -> None:
    """Write a record, and the person it is by."""
    mark = writing.person(by, vessel) if by else None
    writing.add(body.kind, vessel, body.members(), by=mark, relies_on=relies_on)


def _about(fleet: Fleet, vessel: Vessel, where: str) -> _About:
    """Return what a WHERE names."""
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
        if name == "location" and value not in CARD_LOCATIONS:
            raise CORRECT_LOCATION.error(
                expected=" or ".join(CARD_LOCATIONS), found=repr(value[:80])
            )
        if name == "former":
            checked[name] = [*vessel.former, value]
    return checked, tuple(warnings)


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
