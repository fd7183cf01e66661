"""`card cross-over`: the cards of two similar units, crossed over to find a fault, or back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.cross_over import CardCrossOverQuestion
from parambak.cli.command import asks
from parambak.cli.commands.swap.check import cautions

if TYPE_CHECKING:
    from parambak.answers.card.cross_over import CardCrossOverAnswer
    from parambak.cli.screen import Screen


@asks(
    CardCrossOverQuestion,
    example="parambak card cross-over grebe/port-thruster grebe/stbd-thruster "
    "--reason 'does the fault go with the card?' --by 'J. Doe'",
)
@click.argument("one", metavar="VESSEL/UNIT")
@click.argument("other", metavar="VESSEL/UNIT")
@click.option(
    "--reason", metavar="TEXT", required=True, help="Which fault you look for, or the result."
)
@click.option("--by", metavar="PERSON", required=True, help="Who did it.")
@click.option("--back", is_flag=True, help="They were put back, each into its own unit.")
def command(screen: Screen, cross_over: CardCrossOverAnswer) -> None:
    """Record that the cards of two similar units were crossed over, or put back.

    Read both chips first. Each unit runs with the other's parameters until they are back.
    """
    one, other = cross_over.units
    if not cross_over.crossed_over:
        screen.good(f"On record: the cards of {one} and {other} are each in their own unit again.")
        screen.say(
            "Read both chips again, and compare them with the copies: `parambak diff`. A unit that "
            "ran with the other's parameters may have written to its chip. Test every safety "
            "action of both before return to service."
        )
        return
    cautions(screen)
    screen.warn(f"On record: {cross_over.consequence}.")
    screen.say(
        "Each unit runs with the other's parameters: addresses, trims and limits may be wrong. "
        "Do not leave it like this. Until the cards are back, `archive` stops reads of both units. "
        f"When they are back: `parambak card cross-over {one} {other} --back --reason … --by …`."
    )
