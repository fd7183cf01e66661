"""`card cross-over`: the cards of two like units, crossed over for fault-finding and put back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.card.cross_over import CardCrossOverQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import cautions
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.card.cross_over import CardCrossOverAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "cross-over",
    example="parambak card cross-over grebe/port-thruster grebe/stbd-thruster "
    "--reason 'does the fault go with the card?' --by 'J. Doe'",
)
@click.argument("one", metavar="VESSEL/UNIT")
@click.argument("other", metavar="VESSEL/UNIT")
@click.option("--reason", metavar="TEXT", required=True, help="What is looked for, or was found.")
@click.option("--by", metavar="PERSON", required=True, help="Who did it.")
@click.option("--back", is_flag=True, help="They were put back, each into its own unit.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Put on record that the cards of two like units were crossed over, or put back.

    Read both chips before: each unit runs with the other's parameters until they are back.
    """
    return settings.ask(answer, CardCrossOverQuestion(**options), _page)


def _page(screen: Screen, cross_over: CardCrossOverAnswer) -> None:
    one, other = cross_over.units
    if not cross_over.crossed_over:
        screen.good(f"On record: the cards of {one} and {other} are each in their own unit again.")
        screen.say(
            "Read both chips once more, and hold them against the copies with `parambak diff`: a "
            "unit that ran with the other's parameters may have written to its chip. Test every "
            "safety action of both before return to service."
        )
        return
    cautions(screen)
    screen.mind(f"On record: {cross_over.consequence}.")
    screen.say(
        "Each unit runs with parameters that are not its own: addresses, trims and limits may "
        "be wrong for it. Do not leave it so. While it lasts, `archive` stops a read filed under "
        f"either. Afterwards: `parambak card cross-over {one} {other} --back --reason … --by …`."
    )
