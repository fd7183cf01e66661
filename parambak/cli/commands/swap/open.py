"""`swap open`: the replacing of a card begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.swap.open import SwapOpenQuestion
from parambak.cli.command import asks
from parambak.cli.commands.swap.check import cautions
from parambak.swap.readiness import MOVE_CHIP
from parambak.swap.recording import ROUTES

if TYPE_CHECKING:
    from parambak.answers.swap.open import SwapOpenAnswer
    from parambak.cli.screen import Screen


@asks(
    SwapOpenQuestion,
    example="parambak swap open grebe/port-thruster/U12 --by 'J. Doe' --reason 'does not start'",
)
@click.argument("where", metavar="WHERE")
@click.option("--by", metavar="PERSON", required=True, help="Who opens it.")
@click.option("--reason", metavar="TEXT", required=True, help="What is wrong with the old card.")
@click.option(
    "--route",
    type=click.Choice(ROUTES),
    default="load",
    show_default=True,
    help="The new card's memory is loaded, or the old chip goes onto the new card.",
)
@click.option("--old-card", metavar="SERIAL", help="The card that comes out.")
@click.option("--new-card-serial", metavar="SERIAL", help="The card that goes in.")
def command(screen: Screen, opened: SwapOpenAnswer) -> None:
    """Open the swap of the card at WHERE: each step is recorded from then on.

    One swap can be open for a position at a time. Then `swap check` shows what is missing.
    With --route move-chip nothing is loaded: read the old chip, keep a duplicate, move the
    chip, and read it again on the new card.
    """
    cautions(screen)
    if opened.route == "move-chip":
        screen.say("The old chip goes onto the new card. In this order:")
        screen.points(MOVE_CHIP)
        screen.say()
    screen.good(f"The swap at {opened.where} is open.")
    screen.say(f"Continue with `parambak swap check {opened.where}`: it shows what is missing.")
