"""`card exchange`: the cards of two like units, exchanged for fault-finding and put back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import cautions
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.cards import record_exchange

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.cards import Exchange


@parambak_command(
    "exchange",
    example="parambak card exchange grebe/port-thruster grebe/stbd-thruster "
    "--why 'does the fault go with the card?' --by 'J. Doe'",
)
@click.argument("one", metavar="VESSEL/UNIT")
@click.argument("other", metavar="VESSEL/UNIT")
@click.option("--why", metavar="TEXT", required=True, help="What is looked for, or was found.")
@click.option("--by", metavar="PERSON", required=True, help="Who did it.")
@click.option("--back", is_flag=True, help="They were put back, each into its own unit.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings, /, *, one: str, other: str, why: str, by: str, back: bool
) -> Answer:
    """Put on record that the cards of two like units were exchanged, or put back.

    Read both chips before: each unit runs with the other's parameters until they are back.
    """
    vault = store.open_vault(settings)
    told, warnings = record_exchange(vault, one, other, why=why, by=by, back=back)
    return Answer(
        {"units": [unit.where for unit in told.units], "exchanged": not back, "why": why},
        lambda screen: _page(screen, told, back=back),
        warnings=(*store.warnings_of(vault), *warnings),
    )


def _page(screen: Screen, told: Exchange, *, back: bool) -> None:
    one, other = (unit.where for unit in told.units)
    if back:
        screen.good(f"On record: the cards of {one} and {other} are each in their own unit again.")
        screen.say(
            "Read both chips once more, and hold them against the copies with `parambak diff`: a "
            "unit that ran with the other's parameters may have written to its chip. Test every "
            "safety action of both before return to service."
        )
        return
    cautions(screen)
    screen.mind(f"On record: {told.said}.")
    screen.say(
        "Each unit runs with parameters that are not its own: addresses, trims and limits may "
        "be wrong for it. Do not leave it so. While it lasts, `archive` stops a read filed under "
        f"either. Afterwards: `parambak card exchange {one} {other} --back --why … --by …`."
    )
