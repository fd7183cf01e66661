"""`swap check`: whether the swap may begin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import files_in, store
from parambak.cli.command import command as parambak_command
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.errors import VaultDamaged
from parambak.keeping import select
from parambak.keeping.assess import Assessor
from parambak.keeping.fold import fleet
from parambak.swap.card_sheet import Entry, compare_sheets, load_sheet
from parambak.swap.cautions import CAUTIONS
from parambak.swap.conditions import Readiness, readiness

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.known import Fleet, Position, Unit
    from parambak.layouts.decode import Decoded
    from parambak.vault.vault import Vault


@parambak_command("check", example="parambak swap check grebe/port-thruster/U12")
@click.argument("where", metavar="WHERE")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet, to compare.")
@pass_settings
def command(settings: Settings, where: str, new_card: str | None) -> Answer:
    """Say whether the swap of the card at WHERE may begin, and every reason."""
    given = files_in.sheet_file(new_card)[1] if new_card is not None else None
    vault = store.open_vault(settings)
    known = fleet(vault)
    position = select.find_position(known, where)
    found = _readiness(vault, known, position, given)
    document = {
        "ready": found.ready,
        "conditions": [
            {
                "condition": each.condition,
                "met": each.met,
                "text": each.text,
                "required": each.condition in found.required,
            }
            for each in found.conditions
        ],
    }
    return Answer(
        document,
        lambda screen: _page(screen, position.where, found),
        exit_code=0 if found.ready else 1,
        warnings=store.warnings_of(vault),
    )


def _readiness(
    vault: Vault, known: Fleet, position: Position, given: dict[str, str] | None
) -> Readiness:
    assessor = Assessor(vault, store.chip_table())
    copy = position.latest
    unit = _unit_of(known, position)
    sheet = unit.sheet if unit is not None else None
    entries: tuple[Entry, ...] | None = None
    if given is not None:
        stored = load_sheet(vault.read_object(sheet[0]), sheet[1]) if sheet else {}
        entries = compare_sheets(stored, given)
    return readiness(
        copy=select.copy_name(position, copy) if copy else None,
        verdict=assessor.verdict(position, copy) if copy else None,
        decoded=_decoded(assessor, position),
        sheet=sheet is not None,
        entries=entries,
        rules=assessor.rules(position),
    )


def _decoded(assessor: Assessor, position: Position) -> Decoded | None:
    """Return the latest copy's fields, None where layout or bytes cannot be had."""
    if position.latest is None:
        return None
    try:
        return assessor.decoded(position, position.latest)
    except VaultDamaged:
        return None


def _unit_of(known: Fleet, position: Position) -> Unit | None:
    for vessel in known.vessels:
        for unit in vessel.units:
            if position in unit.positions:
                return unit
    return None


def _page(screen: Screen, where: str, found: Readiness) -> None:
    screen.heading(f"Swap check for {where}")
    screen.table(
        ("condition", "met", "required", "why"),
        [
            (
                each.condition,
                MARKS[each.met],
                "yes" if each.condition in found.required else "no",
                each.text,
            )
            for each in found.conditions
        ],
    )
    screen.say()
    cautions(screen)
    if found.ready:
        screen.good("READY, as far as the record goes. Mind every line above.")
        return
    wanting = [c.condition for c in found.conditions if c.condition in found.required and not c.met]
    screen.bad(f"NOT READY: {', '.join(wanting)}. Do not take the card out yet.")


def cautions(screen: Screen) -> None:
    """Print the cautions that go with every step of a swap."""
    screen.say("Cautions:")
    screen.points(CAUTIONS)
    screen.say()
