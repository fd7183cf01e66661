"""Where a read is filed: the position on record, or the entities that are new."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import uuid4

from msgspec import Struct

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.texts import (
    check_short,
    refuse_almost,
    refuse_near,
    refuse_near_vessel,
)
from parambak.keeping.state import select
from parambak.keeping.state.bodies import Entity
from parambak.memory.names import nearest_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Card, Fleet, Position, Unit, Vessel

UNIT_OR_CARD = Fault(
    "target-unit-or-card",
    CallRefused,
    "a read belongs to a unit, or to a card that is in no unit; never to both",
    "Give --unit, or --card for the dump of a spare card.",
)
OTHER_CHIP = Fault(
    "target-other-chip",
    CallRefused,
    "another chip is on record for this position",
    (
        "Type the chip on record, or correct the record with `parambak correct {where}` and --chip "
        "or --size."
    ),
)
VESSEL_NEW = Fault(
    "name-vessel-new",
    CallRefused,
    "no vessel of that name is on record",
    "Type the name as shown in the vault, or give --new-vessel if the vessel is new.",
)


class TypedPosition(Struct, frozen=True):
    """The position of a read, as the user typed it.

    `chip` is the part's name; `size` is that of one chip in bytes, by the user's word.
    """

    vessel: str
    position: str
    unit: str | None = None
    card: str | None = None
    chip: str | None = None
    size: int | None = None
    new_vessel: bool = False
    new_unit: bool = False
    new_position: bool = False


class Filing(Struct, frozen=True):
    """The position that a read is filed under, on record already or new.

    `vessel` and `id` are the identities of vessel and position; of a vessel with several, the
    one that brought in the position or its holder. `position` is None if it is new; `new` are
    the entities that the first record must bring in, `made` the same in words.
    """

    vessel: str
    id: str
    where: str
    chip: str | None
    size: int | None
    position: Position | None
    new: tuple[Entity, ...]
    made: tuple[str, ...]


class NewEntities:
    """The entities that a first record must bring in, and what is new, in words."""

    def __init__(self) -> None:
        self.entities: list[Entity] = []
        self.texts: list[str] = []

    def add(self, what: str, facts: dict[str, str], inside: str | None, text: str) -> str:
        """Add an entity, and return its identity."""
        identity = new_identity()
        given = {name: value for name, value in facts.items() if value}
        self.entities.append(Entity(what=what, id=identity, facts=dict(given), inside=inside))
        self.texts.append(text)
        return identity

    def add_facts(self, what: str, identity: str, facts: dict[str, str]) -> None:
        """Add facts of an entity that is on record already."""
        given = {name: value for name, value in facts.items() if value}
        self.entities.append(Entity(what=what, id=identity, facts=dict(given)))
        self.texts.append(f"now on record: {', '.join(f'{k} {v}' for k, v in given.items())}")


def new_identity() -> str:
    """Return 32 hexadecimal digits that nothing else has."""
    return uuid4().hex


def file_under(fleet: Fleet, typed: TypedPosition) -> Filing:
    """Return the position on record, or the one to be made; raise if neither is right."""
    if (typed.unit is None) == (typed.card is None):
        raise UNIT_OR_CARD.error(
            expected="one of --unit and --card",
            found="neither" if typed.unit is None else "both",
        )
    new = NewEntities()
    holder: Unit | Card | None
    vessel, vessel_id, vessel_name = find_or_add_vessel(
        fleet, typed.vessel, new, confirmed=typed.new_vessel
    )
    if typed.card is not None:
        holder, holder_id, holder_name = _find_or_add_card(vessel, vessel_id, typed.card, new)
    else:
        holder, holder_id, holder_name = _find_or_add_unit(
            vessel, vessel_id, typed.unit or "", new, confirmed=typed.new_unit
        )
    position = _position_in(holder, typed.position, confirmed=typed.new_position)
    if position is not None:
        where, identity = position.where, position.id
        _refuse_other_chip(position, typed.chip, typed.size)
        facts = _chip_facts(typed, position)
        if any(facts.values()):
            new.add_facts("position", identity, facts)
    else:
        where = f"{vessel_name}/{holder_name}/{typed.position}"
        facts = {"short": typed.position, **_chip_facts(typed)}
        identity = new.add("position", facts, holder_id, f"new position {typed.position}")
    chip = (position.chip if position is not None else None) or typed.chip
    size = (position.size if position is not None else None) or typed.size
    if vessel is not None:
        vessel_id = vessel.home(identity if position is not None else holder_id)
    return Filing(
        vessel_id, identity, where, chip, size, position, tuple(new.entities), tuple(new.texts)
    )


def _chip_facts(typed: TypedPosition, position: Position | None = None) -> dict[str, str]:
    """Return the typed facts of the chip that are not on record yet."""
    chip, size = (position.chip, position.size) if position is not None else (None, None)
    return {
        "chip": "" if chip else (typed.chip or "").casefold(),
        "size": "" if size else str(typed.size or ""),
    }


def find_or_add_vessel(
    fleet: Fleet, name: str, new: NewEntities, *, confirmed: bool
) -> tuple[Vessel | None, str, str]:
    """Return the vessel of that name, or bring it in; refuse a name that is nearly another."""
    if select.vessels_named(fleet, name):
        vessel = select.find_vessel(fleet, name)
        return vessel, vessel.id, vessel.handle
    check_short(name, "vessel")
    if not confirmed:
        select.refuse_lost_name(fleet, name)
        refuse_near_vessel(name, (n for v in fleet.vessels for n in (v.short, *v.former)))
    identity = new.add("vessel", {"short": name}, None, f"new vessel {name}")
    return None, identity, name


def recorded_or_new_vessel(
    fleet: Fleet, name: str, new: NewEntities, *, confirmed: bool
) -> tuple[Vessel | None, str, str]:
    """Return the vessel of that name as `find_or_add_vessel`; a new one only if confirmed.

    This is for commands that read no chip: a name that is not on record may be a slip.
    """
    vessel, identity, handle = find_or_add_vessel(fleet, name, new, confirmed=confirmed)
    if vessel is None and not confirmed:
        names = [ship.handle for ship in fleet.vessels]
        raise VESSEL_NEW.error(
            expected=nearest_in_words(name, names) or "none is on record yet", found=name
        )
    return vessel, identity, handle


def check_new(name: str, among: Sequence[Unit | Position], what: str, *, confirmed: bool) -> None:
    """Raise if a new unit or position has no short name, or almost that of another."""
    check_short(name, what)
    names = [before for thing in among for before in (thing.short, *thing.former)]
    refuse_near(name, names, what)
    if not confirmed:
        refuse_almost(name, names, what)


def _find_or_add_unit(
    vessel: Vessel | None, vessel_id: str, name: str, new: NewEntities, *, confirmed: bool
) -> tuple[Unit | None, str, str]:
    units = vessel.units if vessel is not None else ()
    unit = select.named_among(units, name)
    if unit is not None:
        return unit, unit.id, unit.short
    check_new(name, units, "unit", confirmed=confirmed)
    return None, new.add("unit", {"short": name}, vessel_id, f"new unit {name}"), name


def _find_or_add_card(
    vessel: Vessel | None, vessel_id: str, serial: str, new: NewEntities
) -> tuple[Card | None, str, str]:
    cards = vessel.cards if vessel is not None else ()
    for card in cards:
        if card.serial.casefold() == serial.casefold():
            return card, card.id, f"{select.CARD}{card.serial}"
    check_short(serial, "card's serial number")
    refuse_near(serial, (card.serial for card in cards), "card")
    facts = {"serial": serial, "location": "spare aboard"}
    identity = new.add("card", facts, vessel_id, f"new card {serial}, a spare aboard")
    return None, identity, f"{select.CARD}{serial}"


def _position_in(holder: Unit | Card | None, name: str, *, confirmed: bool) -> Position | None:
    positions = holder.positions if holder is not None else ()
    position = select.named_among(positions, name)
    if position is not None:
        return position
    check_new(name, positions, "position", confirmed=confirmed)
    return None


def _refuse_other_chip(position: Position, chip: str | None, size: int | None) -> None:
    """Raise if a part or a size is typed, and the position has another one on record."""
    if chip and position.chip and position.chip.casefold() != chip.casefold():
        raise OTHER_CHIP.error(where=position.where, expected=position.chip, found=chip)
    if size and position.size and position.size != size:
        raise OTHER_CHIP.error(
            where=position.where, expected=f"{position.size} bytes", found=f"{size} bytes"
        )
