"""`amend`: a fact told anew, as a new record that says by whom and why."""

from __future__ import annotations

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.entries import amend

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
    if "chip" in told:
        told["chip"] = store.chip_named(store.chip_table(), told["chip"]).name.casefold()
    vault = store.open_vault(settings)
    said, warnings = amend(vault, where, told, by=by, why=why)
    return Answer(
        {"about": said, "facts": told},
        lambda screen: screen.good(
            f"On record for {said}: " + ", ".join(f"{k} {v}" for k, v in told.items()) + "."
        ),
        warnings=(*store.warnings_of(vault), *warnings),
    )


for _name, (_flag, _help) in OPTIONS.items():
    command.params.append(click.Option([_flag, _name], metavar="TEXT", help=_help))
