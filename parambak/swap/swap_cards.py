"""The two cards of a swap: where the record says that they are, and what speaks against it."""

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
    "that card {does} in another swap that is open",
    "Look at the serial number on the card. If it is right, close the other swap first, or "
    "give it up with --abandoned and a reason.",
)


class Named(NamedTuple):
    """The cards that a swap names, by identity, each None where it names none."""

    old: str | None
    new: str | None


def open_swaps(vault: Vault, vessel: Vessel) -> tuple[Swap, ...]:
    """Return every open swap of a vessel, in the order in which they were opened."""
    every = frozenset(i for unit in vessel.units for p in unit.positions for i in p.ids)
    found = fold_swaps(in_order(vault, vessel), every)
    return tuple(swap for swap in found if swap.end is None)


def refuse_taken(vessel: Vessel, opened: Sequence[Swap], named: Named) -> None:
    """Raise where another open swap takes the same card out, or fits the same card."""
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
    """Say where the record has the cards elsewhere than a swap in this unit would."""
    found = []
    old, new = (_card(vessel, each) for each in named)
    if old is not None:
        there = unit_of(vessel, old)
        if there is not None and there is not unit:
            found.append(f"the old card, {old.serial}, is on record in {there.where}")
        elif there is None and old.facts.get("location") not in {IN_A_UNIT, None}:
            found.append(f"the old card, {old.serial}, is on record {old.facts['location']}")
    if new is not None:
        there = unit_of(vessel, new)
        if there is not None:
            found.append(f"the new card, {new.serial}, is on record in {there.where}")
        elif new.facts.get("location") in {"ashore", "scrapped"}:
            found.append(f"the new card, {new.serial}, is on record {new.facts['location']}")
    doubts = [f"{each}: make sure which card it is" for each in found]
    return (*doubts, *_crossed(vessel, opened, named))


def _crossed(vessel: Vessel, opened: Sequence[Swap], named: Named) -> list[str]:
    """Say which card goes from one open swap to another."""
    said = []
    for swap in opened:
        where = _where(vessel, swap)
        if named.old is not None and _same(vessel, swap.body.new_card, named.old):
            said.append(
                f"{_serial(vessel, named.old)} comes out here, and goes in at {where}: read it "
                "and archive it here before that"
            )
        if named.new is not None and _same(vessel, swap.body.old_card, named.new):
            said.append(
                f"{_serial(vessel, named.new)} goes in here, and comes out at {where}: what it "
                "holds is that unit's; make sure that it is on record there"
            )
    return said


def also_in(vessel: Vessel, unit: Unit, named: Named) -> tuple[str, ...]:
    """Say which further cards are on record as being in the unit."""
    mine = [_card(vessel, each) for each in named]
    others = [each.serial for each in cards_in(vessel, unit) if each not in mine]
    if not others:
        return ()
    listed = ", ".join(others)
    return (
        (
            f"on record in {unit.where} stays {listed} too; where that is the card that came out, "
            "say where it is with `parambak correct`"
        ),
    )


def _card(vessel: Vessel, identity: str | None) -> Card | None:
    return next((card for card in vessel.cards if identity in card.ids), None)


def _same(vessel: Vessel, one: str | None, other: str) -> bool:
    """Tell whether two identities are one card's."""
    if one is None:
        return False
    card = _card(vessel, one)
    return one == other or (card is not None and other in card.ids)


def _serial(vessel: Vessel, identity: str) -> str:
    card = _card(vessel, identity)
    return f"card {card.serial}" if card is not None else "the card"


def _where(vessel: Vessel, swap: Swap) -> str:
    for unit in vessel.units:
        for position in unit.positions:
            if swap.body.position in position.ids:
                return position.where
    return "another position"
