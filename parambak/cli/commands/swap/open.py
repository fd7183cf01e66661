"""`swap open`: the replacing of a card begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import cautions
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.swap import recording
from parambak.swap.readiness import MOVE_CHIP

if TYPE_CHECKING:
    from parambak.cli.screen import Screen


@parambak_command(
    "open",
    example="parambak swap open grebe/port-thruster/U12 --by 'J. Doe' --why 'does not start'",
)
@click.argument("where", metavar="WHERE")
@click.option("--by", metavar="PERSON", required=True, help="Who opens it.")
@click.option("--why", metavar="TEXT", required=True, help="What is wrong with the old card.")
@click.option(
    "--route",
    type=click.Choice(recording.ROUTES),
    default="load",
    show_default=True,
    help="The new card's memory is loaded, or the old chip goes onto the new card.",
)
@click.option("--old-card", metavar="SERIAL", help="The card that comes out.")
@click.option("--new-card-serial", metavar="SERIAL", help="The card that goes in.")
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str,
    by: str,
    why: str,
    route: str,
    old_card: str | None,
    new_card_serial: str | None,
) -> Answer:
    """Open the swap of the card at WHERE: from here on its course is on record.

    One swap can be open for a position at a time. `swap check` then says what is wanting.
    With --route move-chip nothing is loaded: read the old chip, keep a duplicate, move it,
    and read it again on the new card.
    """
    vault = store.open_vault(settings)
    opened = recording.open_swap(
        vault, where, why=why, by=by, route=route, old_card=old_card, new_card=new_card_serial
    )
    position = opened.position
    return Answer(
        {"where": position.where, "open": True, "route": route},
        lambda screen: _page(screen, position.where, route),
        warnings=(*store.warnings_of(vault), *opened.notes),
    )


def _page(screen: Screen, where: str, route: str) -> None:
    cautions(screen)
    if route == "move-chip":
        screen.say("The old chip goes onto the new card. In this order:")
        screen.points(MOVE_CHIP)
        screen.say()
    screen.good(f"The swap at {where} is open.")
    screen.say(f"Go on with `parambak swap check {where}`: it says what is wanting.")
