"""The two cards of a swap: where they are by the records, and what speaks against it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.state.cards import IN_A_UNIT, cards_in, unit_of
from parambak.swap.swaps import fold_swaps, in_order

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Card, Unit, Vessel
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Vault

SWAP_CARD_TAKEN = Fault(
    "swap-card-taken",
    CallRefused,
    "that card {does} in another open swap",
    "Check the serial number on the card. If it is right, close the other swap first, or abandon "
    "it with --abandoned and a reason.",
)


class Named(NamedTuple):
    """The cards that a swap names, by identity, each None if it names none."""

    old: str | None
    new: str | None


def open_swaps(vault: Vault, vessel: Vessel) -> tuple[Swap, ...]:
    """Return every open swap of a vessel, in the order in which they were opened."""
    positions = frozenset(i for unit in vessel.units for p in unit.positions for i in p.ids)
    swaps = fold_swaps(in_order(vault, vessel), positions)
    return tuple(swap for swap in swaps if swap.end is None)


def refuse_taken(vessel: Vessel, opened: Sequence[Swap], named: Named) -> None:
    """Raise if another open swap takes the same card out, or fits the same card."""
    for swap in opened:
        if named.old is not None and _same(vessel, swap.body.old_card, named.old):
            raise SWAP_CARD_TAKEN.error(
                does="comes out",
                expected="a card that comes out of one unit",
                found=f"{_serial(vessel, named.old)}, at {_where(vessel, swap)}",
            )
        if named.new is not None and _same(vessel, swap.body.new_card, named.new):
            raise SWAP_CARD_TAKEN.error(
                does="goes in",
                expected="a card that goes into one unit",
                found=f"{_serial(vessel, named.new)}, at {_where(vessel, swap)}",
            )


def card_notes(vessel: Vessel, unit: Unit, opened: Sequence[Swap], named: Named) -> tuple[str, ...]:
    """Return a note for each card that the records have at another place."""
    doubts = []
    old, new = (_card(vessel, identity) for identity in named)
    if old is not None:
        there = unit_of(vessel, old)
        if there is not None and there is not unit:
            doubts.append(f"the old card, {old.serial}, is on record in {there.where}")
        elif there is None and old.facts.get("location") not in {IN_A_UNIT, None}:
            doubts.append(f"the old card, {old.serial}, is on record {old.facts['location']}")
    if new is not None:
        there = unit_of(vessel, new)
        if there is not None:
            doubts.append(f"the new card, {new.serial}, is on record in {there.where}")
        elif new.facts.get("location") in {"ashore", "scrapped"}:
            doubts.append(f"the new card, {new.serial}, is on record {new.facts['location']}")
    notes = [f"{doubt}: check which card it is" for doubt in doubts]
    return (*notes, *_crossed(vessel, opened, named))


def _crossed(vessel: Vessel, opened: Sequence[Swap], named: Named) -> list[str]:
    """Return a note for each card that goes from one open swap to another."""
    notes = []
    for swap in opened:
        where = _where(vessel, swap)
        if named.old is not None and _same(vessel, swap.body.new_card, named.old):
            notes.append(
                f"{_serial(vessel, named.old)} comes out here, and goes in at {where}: first "
                "read it and archive it here"
            )
        if named.new is not None and _same(vessel, swap.body.old_card, named.new):
            notes.append(
                f"{_serial(vessel, named.new)} goes in here, and comes out at {where}: its "
                "content is that unit's; make sure that it is on record there"
            )
    return notes


def also_in(vessel: Vessel, unit: Unit, named: Named) -> tuple[str, ...]:
    """Return a note with the further cards that are in the unit by the records."""
    of_swap = [_card(vessel, identity) for identity in named]
    others = [card.serial for card in cards_in(vessel, unit) if card not in of_swap]
    if not others:
        return ()
    listed = ", ".join(others)
    return (
        (
            f"still on record in {unit.where}: {listed}. If a card of these came out, record its "
            "location with `parambak correct`"
        ),
    )


def _card(vessel: Vessel, identity: str | None) -> Card | None:
    return next((card for card in vessel.cards if identity in card.ids), None)


def _same(vessel: Vessel, first: str | None, second: str) -> bool:
    """Return whether two identities are of one card."""
    if first is None:
        return False
    card = _card(vessel, first)
    return first == second or (card is not None and second in card.ids)


def _serial(vessel: Vessel, identity: str) -> str:
    card = _card(vessel, identity)
    return f"card {card.serial}" if card is not None else "the card"


def _where(vessel: Vessel, swap: Swap) -> str:
    for unit in vessel.units:
        for position in unit.positions:
            if swap.body.position in position.ids:
                return position.where
    return "another position"
