"""Where a read is filed: what stands already, and what is made on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.identities import new_identity
from parambak.keeping.state import select
from parambak.keeping.state.bodies import Entity
from parambak.keeping.state.names import check_short, refuse_near, refuse_near_vessel

if TYPE_CHECKING:
    from parambak.keeping.state.known import Card, Fleet, Position, Unit, Vessel

UNIT_OR_CARD = Fault(
    "target-unit-or-card",
    CallRefused,
    "a read belongs to a unit or to a card that is in none, never to both",
    "Give --unit, or --card for a spare's own dump.",
)
OTHER_CHIP = Fault(
    "target-other-chip",
    CallRefused,
    "another chip is on record for this position",
    "Type the chip on record, or correct it with `parambak amend {where} --chip NAME --why …`.",
)


class Target(Struct, frozen=True):
    """Where the user says that a read belongs, as typed."""

    vessel: str
    position: str
    unit: str | None = None
    card: str | None = None
    chip: str | None = None
    new_vessel: bool = False


class Aimed(Struct, frozen=True):
    """The place found or made.

    `vessel` and `id` are the identities of vessel and position, the vessel's being that
    which brought in the position or what holds it; `position` is
    what is known of it, None where it is new; `new` are the entities that the
    first record must bring in; `made` says them in words.
    """

    vessel: str
    id: str
    where: str
    chip: str | None
    position: Position | None
    new: tuple[Entity, ...]
    made: tuple[str, ...]


class Making:
    """Collects what is new on the way."""

    def __init__(self) -> None:
        self.entities: list[Entity] = []
        self.said: list[str] = []

    def make(self, what: str, facts: dict[str, str], inside: str | None, said: str) -> str:
        """Bring in an entity, and return its identity."""
        identity = new_identity()
        told = {name: value for name, value in facts.items() if value}
        self.entities.append(Entity(what=what, id=identity, facts=dict(told), inside=inside))
        self.said.append(said)
        return identity

    def tell(self, what: str, identity: str, facts: dict[str, str]) -> None:
        """Tell a fact of an entity that stands already."""
        self.entities.append(Entity(what=what, id=identity, facts=dict(facts)))
        self.said.append(f"now on record: {', '.join(f'{k} {v}' for k, v in facts.items())}")


def aim(known: Fleet, target: Target) -> Aimed:
    """Find the position of a target, or say what has to be made for it."""
    if (target.unit is None) == (target.card is None):
        raise UNIT_OR_CARD.error(
            expected="one of --unit and --card",
            found="neither" if target.unit is None else "both",
        )
    making = Making()
    holder: Unit | Card | None
    vessel, vessel_id, vessel_name = aim_vessel(known, target.vessel, making, new=target.new_vessel)
    if target.card is not None:
        holder, holder_id, holder_name = _aim_card(vessel, vessel_id, target.card, making)
    else:
        holder, holder_id, holder_name = _aim_unit(vessel, vessel_id, target.unit or "", making)
    position = _known_position(holder, target.position)
    if position is not None:
        where, identity = position.where, position.id
        _refuse_other_chip(position, target.chip)
        if target.chip and not position.chip:
            making.tell("position", identity, {"chip": target.chip.casefold()})
    else:
        where = f"{vessel_name}/{holder_name}/{target.position}"
        facts = {"short": target.position, "chip": (target.chip or "").casefold()}
        identity = making.make("position", facts, holder_id, f"new position {target.position}")
    chip = position.chip if position is not None and position.chip else target.chip
    if vessel is not None:
        vessel_id = vessel.home(identity if position is not None else holder_id)
    return Aimed(
        vessel_id, identity, where, chip, position, tuple(making.entities), tuple(making.said)
    )


def aim_vessel(
    known: Fleet, name: str, making: Making, *, new: bool
) -> tuple[Vessel | None, str, str]:
    """Return the vessel of that name, or bring it in; refuse a near miss."""
    if select.vessels_named(known, name):
        vessel = select.find_vessel(known, name)
        return vessel, vessel.id, vessel.handle
    check_short(name, "vessel")
    if not new:
        select.refuse_lost_name(known, name)
        refuse_near_vessel(name, (n for v in known.vessels for n in (v.short, *v.former)))
    identity = making.make("vessel", {"short": name}, None, f"new vessel {name}")
    return None, identity, name


def new_vessel(known: Fleet, name: str, *, confirmed: bool) -> tuple[str, str, tuple[Entity, ...]]:
    """Return a vessel's identity and handle, and the entity where it is new."""
    making = Making()
    _, identity, handle = aim_vessel(known, name, making, new=confirmed)
    return identity, handle, tuple(making.entities)


def _aim_unit(
    vessel: Vessel | None, vessel_id: str, name: str, making: Making
) -> tuple[Unit | None, str, str]:
    units = vessel.units if vessel is not None else ()
    unit = select.named_among(units, name)
    if unit is not None:
        return unit, unit.id, unit.short
    check_short(name, "unit")
    refuse_near(name, (unit.short for unit in units), "unit")
    return None, making.make("unit", {"short": name}, vessel_id, f"new unit {name}"), name


def _aim_card(
    vessel: Vessel | None, vessel_id: str, serial: str, making: Making
) -> tuple[Card | None, str, str]:
    cards = vessel.cards if vessel is not None else ()
    for card in cards:
        if card.serial.casefold() == serial.casefold():
            return card, card.id, f"{select.CARD}{card.serial}"
    check_short(serial, "card's serial number")
    refuse_near(serial, (card.serial for card in cards), "card")
    facts = {"serial": serial, "whereabouts": "spare aboard"}
    identity = making.make("card", facts, vessel_id, f"new card {serial}, a spare aboard")
    return None, identity, f"{select.CARD}{serial}"


def _known_position(holder: Unit | Card | None, name: str) -> Position | None:
    positions = holder.positions if holder is not None else ()
    position = select.named_among(positions, name)
    if position is not None:
        return position
    check_short(name, "position")
    refuse_near(name, (position.short for position in positions), "position")
    return None


def _refuse_other_chip(position: Position, chip: str | None) -> None:
    if chip and position.chip and position.chip.casefold() != chip.casefold():
        raise OTHER_CHIP.error(where=position.where, expected=position.chip, found=chip)
