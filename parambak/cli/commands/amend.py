"""`amend`: a fact told anew, as a new record that says by whom and why."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.entries import amend
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet

if TYPE_CHECKING:
    from parambak.keeping.chips import Chip
    from parambak.keeping.state.model import Position
    from parambak.vault.vault import Vault

OPTIONS = {
    "short": ("--short-name", "New short name (the old one stays known as a former name)."),
    "display": ("--display-name", "A name of any text."),
    "imo": ("--imo", "Vessel: IMO number."),
    "other_number": ("--other-number", "Vessel: hull or official number."),
    "former": ("--former-name", "Vessel: a name it had before."),
    "maker_type": ("--maker-type", "Unit: the maker's type, as text."),
    "serial": ("--serial", "Unit or card: serial number."),
    "stands": ("--stands", "Unit: where it stands aboard."),
    "chip": ("--chip", "Position: the memory's part number."),
    "read_on": ("--read-on", "Copy: the day of its newest read."),
    "position": ("--position", "Copy: the WHERE that its newest read belongs to."),
    "remark": ("--remark", "Copy: a remark to its newest read."),
}


@parambak_command(
    "amend", example="parambak amend grebe/port-thruster --maker-type 'TC-4' --by 'J. Doe'"
)
@click.argument("where", metavar="WHERE|COPY")
@click.option("--by", metavar="PERSON", help="Who says so.")
@click.option("--why", metavar="TEXT", help="Why: what was wrong, or where it is known from.")
@pass_settings
def command(
    settings: Settings, /, where: str, by: str | None, why: str | None, **facts: str | None
) -> Answer:
    """Add or correct a fact of a vessel, unit, card, position or copy.

    Nothing is rewritten: the correction is a new record.
    """
    told = {name: value for name, value in facts.items() if value is not None}
    chip = store.chip_named(store.chip_table(), told["chip"]) if "chip" in told else None
    if chip is not None:
        told["chip"] = chip.name.casefold()
    vault = store.open_vault(settings)
    known = fleet(vault)
    said, warnings = amend(vault, where, told, by=by, why=why)
    if chip is not None:
        warnings += _doubts(vault, select.find_position(known, where), chip)
    return Answer(
        {"about": said, "facts": told},
        lambda screen: screen.good(
            f"On record for {said}: " + ", ".join(f"{k} {v}" for k, v in told.items()) + "."
        ),
        warnings=(*store.warnings_of(vault), *warnings),
    )


def _doubts(vault: Vault, position: Position, chip: Chip) -> tuple[str, ...]:
    """Say what the chip that is on record now contradicts; the position as it was before."""
    from parambak.keeping.assess import Assessor, size_doubts  # noqa: PLC0415 - a chip is rarely named

    return size_doubts(Assessor(vault, store.chip_table()), position, chip)


for _name, (_flag, _help) in OPTIONS.items():
    command.params.append(click.Option([_flag, _name], metavar="TEXT", help=_help))
