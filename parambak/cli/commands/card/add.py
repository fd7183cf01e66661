"""`card add`: a processor card by its serial number, and its whereabouts."""

from __future__ import annotations

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.cards import enter_card
from parambak.keeping.state.cards import IN_A_UNIT, WHEREABOUTS


@parambak_command("add", example="parambak card add grebe PC-4471 --whereabouts 'spare aboard'")
@click.argument("vessel", metavar="VESSEL")
@click.argument("serial", metavar="SERIAL")
@click.option(
    "--whereabouts",
    type=click.Choice(WHEREABOUTS),
    help="Where it is now; else spare aboard, or with --unit in a unit.",
)
@click.option("--unit", metavar="NAME", help="The unit that it is in.")
@click.option("--card-type", metavar="TEXT", help="The maker's type, as printed on it.")
@click.option("--by", metavar="PERSON", help="Who says so.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    vessel: str,
    serial: str,
    whereabouts: str | None,
    unit: str | None,
    card_type: str | None,
    by: str | None,
) -> Answer:
    """Put a card on record, or where a known one is now.

    A spare's own dump is archived with --card SERIAL, never under a unit.
    """
    vault = store.open_vault(settings)
    told = whereabouts or ("spare aboard" if unit is None else IN_A_UNIT)
    where, new = enter_card(
        vault,
        vessel=vessel,
        serial=serial,
        whereabouts=told,
        card_type=card_type,
        by=by,
        unit=unit,
    )
    said = told if unit is None else f"{told}, {unit}"
    return Answer(
        {"where": where, "new": new, "whereabouts": told, "unit": unit},
        lambda screen: screen.good(f"On record: {where}, {said}."),
        warnings=store.warnings_of(vault),
    )
