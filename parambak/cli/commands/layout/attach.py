"""`layout attach`: the layout of a position, without archiving a dump again."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.layout.attach import LayoutAttachQuestion
from parambak.cli.command import asks

if TYPE_CHECKING:
    from parambak.answers.layout.attach import LayoutAttachAnswer
    from parambak.cli.screen import Screen


@asks(
    LayoutAttachQuestion,
    example="parambak layout attach grebe/port-thruster/U12 thruster.toml --by 'J. Doe'",
)
@click.argument("where", metavar="WHERE")
@click.argument("file", metavar="FILE")
@click.option("--by", metavar="PERSON", help="Who states it.")
def command(screen: Screen, attached: LayoutAttachAnswer) -> None:
    """Keep FILE as the layout of the position WHERE, from now on.

    No dump is archived again. An older copy is decoded by the layout that was attached when it
    was read.
    """
    if not attached.attached:
        screen.good(
            f"{attached.layout} is the layout of {attached.where} already; nothing was put on "
            "record."
        )
        return
    before = f", after {attached.before}" if attached.before is not None else ""
    screen.good(f"On record: {attached.layout} is the layout of {attached.where}{before}.")
    if attached.copy is None:
        screen.say("No copy is on record there yet.")
    elif attached.verified:
        screen.say(f"The latest copy, {attached.copy}, is verified with it.")
    else:
        screen.bad(f"The latest copy, {attached.copy}, is NOT VERIFIED with it:")
        screen.facts((unmet.condition, unmet.text) for unmet in attached.unmet)
