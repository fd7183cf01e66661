"""Units, positions and layouts put on record without a read."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.assess import Assessor
from parambak.keeping.recording.admit import agreed_size
from parambak.keeping.recording.entries import add_signed
from parambak.keeping.recording.filing import NewEntities, check_new, recorded_or_new_vessel
from parambak.keeping.recording.received import objects_of, put_layout
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import select
from parambak.keeping.state.bodies import EnteredBody, LayoutAttachedBody
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Fleet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.chips import Chip
    from parambak.keeping.recording.received import LayoutFile
    from parambak.keeping.state.bodies import LayoutEntry
    from parambak.keeping.state.model import Position
    from parambak.vault.vault import Vault

UNIT_WHERE = Fault(
    "unit-where",
    CallRefused,
    "that does not name a unit",
    "Write VESSEL/UNIT, for example grebe/port-thruster. `card add` records a card.",
)
ON_RECORD = Fault(
    "add-on-record",
    CallRefused,
    "that {what} is on record already",
    "To add or change a fact of it, use `parambak correct {where}`.",
)


class Added(NamedTuple):
    """What is on record now, by its WHERE, and all that is new with it, in words."""

    where: str
    made: tuple[str, ...]


def add_unit(  # noqa: PLR0913 - the facts of a unit, all by keyword
    vault: Vault,
    where: str,
    facts: Mapping[str, str],
    *,
    by: str | None,
    new_vessel: bool,
    new_unit: bool,
) -> Added:
    """Put a unit on record, and with `new_vessel` the vessel if it is new."""
    parts = select.parse_where(where)
    holder = parts.holder or ""
    if not holder or parts.position is not None or holder.casefold().startswith(select.CARD):
        raise UNIT_WHERE.error(expected="VESSEL/UNIT", found=repr(where[:80]))
    _check(facts, by)
    if vault.made:  # what is refused leaves no vault behind
        recorded_or_new_vessel(Fleet(()), parts.vessel, NewEntities(), confirmed=new_vessel)
    with vault.writing() as writing:
        new = NewEntities()
        ships = fleet(vault)
        vessel, home, handle = recorded_or_new_vessel(
            ships, parts.vessel, new, confirmed=new_vessel
        )
        units = vessel.units if vessel is not None else ()
        unit = select.named_among(units, holder)
        if unit is not None:
            raise ON_RECORD.error(
                what="unit", where=unit.where, expected="a new unit", found=unit.where
            )
        check_new(holder, units, "unit", confirmed=new_unit)
        new.add("unit", {"short": holder, **facts}, home, f"new unit {holder}")
        add_signed(writing, home, EnteredBody(new=tuple(new.entities)), by)
    return Added(f"{handle}/{holder}", tuple(new.texts))


def add_position(
    vault: Vault, where: str, *, chip: str | None, by: str | None, new_position: bool
) -> Added:
    """Put a position of a unit or card that is on record on record too."""
    parts = select.parse_where(where)
    if parts.holder is None or parts.position is None:
        raise select.WHERE_SHAPE.error(expected="VESSEL/UNIT/POSITION", found=repr(where[:80]))
    _check({}, by)
    with vault.writing() as writing:
        new = NewEntities()
        vessel = select.find_vessel(fleet(vault), parts.vessel)
        holder = select.find_holder(vessel, parts.holder)
        position = select.named_among(holder.positions, parts.position)
        if position is not None:
            raise ON_RECORD.error(
                what="position",
                where=position.where,
                expected="a new position",
                found=position.where,
            )
        check_new(parts.position, holder.positions, "position", confirmed=new_position)
        facts = {"short": parts.position, "chip": chip or ""}
        new.add("position", facts, holder.id, f"new position {parts.position}")
        add_signed(writing, vessel.home(holder.id), EnteredBody(new=tuple(new.entities)), by)
    return Added(f"{holder.where}/{parts.position}", tuple(new.texts))


class Attached(NamedTuple):
    """The position with its layout now; `before` is the layout until then.

    `new` is False if that layout was attached already, and nothing was put on record.
    """

    position: Position
    before: LayoutEntry | None
    new: bool


def attach_layout(
    vault: Vault, chips: Mapping[str, Chip], where: str, given: LayoutFile, *, by: str | None
) -> Attached:
    """Put on record that a layout is the position's from here on.

    Raise LayoutRefused if it is for another size of memory than the chip or the latest copy has.
    """
    _check({}, by)
    with vault.writing() as writing:
        ships = fleet(vault)
        vessel = select.vessel_at(ships, where)
        position = select.find_position(ships, where)
        _refuse_misfit(vault, chips, position, given)
        layout = put_layout(writing, given)
        settled = all(conflict.fact != "layout" for conflict in position.conflicts)
        if layout == position.layout and settled:
            return Attached(position, position.layout, new=False)
        for home, identity in vessel.homes(position.ids):
            body = LayoutAttachedBody(position=identity, layout=layout)
            add_signed(writing, home, body, by, *objects_of(layout))
    return Attached(select.find_position(fleet(vault), where), position.layout, new=True)


def _refuse_misfit(
    vault: Vault, chips: Mapping[str, Chip], position: Position, given: LayoutFile
) -> None:
    from parambak.layouts.decode import require_fit  # noqa: PLC0415 - slow to import, layouts only

    agreed_size(position.chip, position.size, position.chips, chips, given.layout)
    if position.latest is not None:
        require_fit(given.layout, Assessor(vault, chips).image(position.latest.image))


def _check(facts: Mapping[str, str], by: str | None) -> None:
    texts = [(f"fact {name}", value, REMARK) for name, value in facts.items()]
    check_texts([*texts, ("name of the person", by, NAME)])
