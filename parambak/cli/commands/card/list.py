"""`card list`: the processor cards that are known, and where each is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state import select
from parambak.keeping.state.cards import exchanges, unit_of
from parambak.keeping.state.fold import fleet
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.cards import Exchange
    from parambak.keeping.state.model import Card, Vessel


@parambak_command("list", example="parambak card list grebe")
@click.argument("vessel", metavar="[VESSEL]", required=False)
@pass_settings
def command(settings: Settings, /, *, vessel: str | None) -> Answer:
    """List the processor cards of VESSEL, or of all: where each is, its dumps, its sheet."""
    vault = store.open_vault(settings)
    known = fleet(vault)
    ships = known.vessels if vessel is None else (select.find_vessel(known, vessel),)
    cards: list[dict[str, Any]] = []
    found: list[Exchange] = []
    for ship in ships:
        mine = exchanges(vault, ship)
        cards += [_document(ship, card, mine) for card in ship.cards]
        found += mine
        if len(ships) > 1:
            ship.forget()
    document = {
        "cards": cards,
        "exchanged": [
            {"units": [unit.where for unit in each.units], "why": each.why, "on": str(each.on)}
            for each in found
        ],
    }
    return Answer(
        document,
        lambda screen: _page(screen, cards),
        warnings=(*store.warnings_of(vault), *(each.said for each in found)),
    )


def _document(vessel: Vessel, card: Card, found: tuple[Exchange, ...]) -> dict[str, Any]:
    unit = unit_of(vessel, card)
    pair = next((each.units for each in found if unit in each.units), None)
    now = unit
    if unit is not None and pair is not None:
        now = pair[1] if unit is pair[0] else pair[0]
    return {
        "where": card.where,
        "serial": card.serial,
        "card_type": card.facts.get("card_type"),
        "whereabouts": card.facts.get("whereabouts"),
        "unit": now.where if now is not None else card.facts.get("unit") or None,
        "belongs_to": unit.where if unit is not None and now is not unit else None,
        "sheet": card.sheet[1] if card.sheet is not None else None,
        "positions": [
            {"where": position.where, "copies": len(position.copies)} for position in card.positions
        ],
        "conflicts": [f"{each.fact}: {' or '.join(each.values)}" for each in card.conflicts],
    }


def _page(screen: Screen, cards: list[dict[str, Any]]) -> None:
    if not cards:
        screen.say("No card is on record here. Put one there with `parambak card add`.")
        return
    screen.table(
        ("card", "type", "whereabouts", "own dumps", "sheet"),
        [
            (
                each["where"],
                each["card_type"] or "not told",
                _whereabouts(each),
                _dumps(each),
                each["sheet"] or "none",
            )
            for each in cards
        ],
    )
    for each in cards:
        for conflict in each["conflicts"]:
            screen.say(f"{each['where']}: told in two ways: {conflict}; settle it with `card add`")
    screen.say()
    screen.say(f"{counted(len(cards), 'card')}.")


def _whereabouts(each: dict[str, Any]) -> str:
    said = each["whereabouts"] or "not told"
    if each["unit"] is not None:
        said += f", {each['unit']}"
    return f"{said} (EXCHANGED, of {each['belongs_to']})" if each["belongs_to"] else said


def _dumps(each: dict[str, Any]) -> str:
    """Return the positions whose own dumps are kept under the card."""
    told = [
        f"{position['where'].rpartition('/')[2]}: {counted(position['copies'], 'copy', 'copies')}"
        for position in each["positions"]
    ]
    return ", ".join(told) or "none"
