"""`card compare`: a new card's sheet against the unit's, entry by entry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers import given_files
from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.cards import SHEET_WHERE
from parambak.keeping.state import select
from parambak.keeping.state.cards import exchange_notes, refuse_other
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.model import Card, Unit
from parambak.memory.counted import counted
from parambak.memory.digests import sha256
from parambak.swap.card_sheet import DEFER, NOT_ASKED, NOT_STATED, compare_sheets, meaning
from parambak.swap.state import stored_sheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.keeping.state.conditions import SheetEntry
    from parambak.keeping.state.model import Vessel
    from parambak.swap.card_sheet import Sheet
    from parambak.vault.vault import Vault

STATES = {True: "same", False: "differs", None: "not stated"}


@parambak_command(
    "compare", example="parambak card compare grebe/port-thruster --new-card NEW.TOML"
)
@click.argument("where", metavar="VESSEL/UNIT")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet.")
@click.option("--new-card-serial", metavar="SERIAL", help="A card whose sheet is on record.")
@pass_settings
def command(
    settings: Settings, /, *, where: str, new_card: str | None, new_card_serial: str | None
) -> Answer:
    """Hold a new card's sheet against that of the unit, entry by entry.

    Exit code 0 where all that either states is the same on both, else 1.
    """
    if (new_card is None) == (new_card_serial is None):
        found = "neither" if new_card is None else "both"
        raise faults.COMPARE_CARD.error(expected="one of the two", found=found)
    given = given_files.sheet_file(new_card) if new_card is not None else None
    vault = store.open_vault(settings)
    vessel, unit = _unit(vault, where)
    own = _stated(vault, unit)
    if given is not None:
        other, serial = given[1], None
    else:
        card = _card(vessel, new_card_serial or "")
        other, serial = _stated(vault, card), card.serial
    refuse_other(other.target, vessel, unit, serial)
    entries = compare_sheets(own.entries, other.entries)
    if not entries:
        raise faults.COMPARE_NOTHING.error(expected="entries", found="two sheets without any")
    notes = exchange_notes(vault, vessel, [unit])
    if given is not None:
        notes += own_sheet(given[0], unit)
    return Answer(
        _document(unit, serial, entries),
        lambda screen: _page(screen, unit, entries),
        exit_code=0 if all(each.same for each in entries) else 1,
        warnings=(*store.warnings_of(vault), *notes),
    )


def own_sheet(data: bytes, unit: Unit) -> tuple[str, ...]:
    """Say where the sheet given as a new card's is the very file on record for the unit."""
    if unit.sheet is None or sha256(data) != unit.sheet[0]:
        return ()
    return ("the new card's sheet is the very file on record for the unit: was the card read off?",)


def _unit(vault: Vault, where: str) -> tuple[Vessel, Unit]:
    parts = select.parse_where(where)
    vessel = select.find_vessel(fleet(vault), parts.vessel)
    holder = select.find_holder(vessel, parts.holder) if parts.holder is not None else None
    if not isinstance(holder, Unit) or parts.position is not None:
        raise SHEET_WHERE.error(expected="VESSEL/UNIT", found=repr(where[:80]))
    return vessel, holder


def _card(vessel: Vessel, serial: str) -> Card:
    holder = select.find_holder(vessel, f"{select.CARD}{serial}")
    if not isinstance(holder, Card):  # the name asked for is a card's
        raise TypeError(holder)
    return holder


def _stated(vault: Vault, holder: Unit | Card) -> Sheet:
    """Return the sheet on record; raise NotFound where there is none."""
    sheet = stored_sheet(vault, holder.sheet)
    if sheet is None:
        raise faults.COMPARE_NONE.error(where=holder.where, expected="a card sheet", found="none")
    return sheet


def _document(unit: Unit, serial: str | None, entries: Sequence[SheetEntry]) -> dict[str, Any]:
    return {
        "where": unit.where,
        "card": serial,
        "same": all(each.same for each in entries),
        "differing": sum(1 for each in entries if each.same is False),
        "not_stated": sum(1 for each in entries if each.same is None),
        "entries": [
            {
                "entry": each.name,
                "unit": None if each.unit == NOT_STATED and each.same is None else each.unit,
                "card": None if each.card == NOT_STATED and each.same is None else each.card,
                "state": STATES[each.same],
                "meaning": None if each.same else _meaning(each),
            }
            for each in entries
        ],
    }


def _meaning(entry: SheetEntry) -> str:
    return NOT_ASKED if entry.same is None else meaning(entry.name)


def _page(screen: Screen, unit: Unit, entries: Sequence[SheetEntry]) -> None:
    screen.heading(f"The new card's sheet against that of {unit.where}")
    screen.table(
        ("entry", "unit needs", "new card has", "answer"),
        [(each.name, each.unit, each.card, STATES[each.same].upper()) for each in entries],
    )
    screen.say()
    differing = [each for each in entries if each.same is False]
    unstated = [each for each in entries if each.same is None]
    if differing:
        screen.say("What differs, and what that may mean:")
        screen.points(f"{each.name}: {meaning(each.name)}" for each in differing)
    if unstated:
        names = ", ".join(each.name for each in unstated)
        screen.say(f"{NOT_ASKED[:1].upper()}{NOT_ASKED[1:]}: {names}")
    if not differing and not unstated:
        screen.good(f"The same: all {counted(len(entries), 'entry', 'entries')}.")
        screen.say(f"A sheet is as good as the look at the card was. {DEFER}")
        return
    screen.say(DEFER)
    counts = [(len(differing), "DIFFER"), (len(unstated), "NOT STATED on one of the two")]
    said = "; ".join(f"{count} {word}" for count, word in counts if count)
    screen.bad(f"Of {counted(len(entries), 'entry', 'entries')}: {said}.")
