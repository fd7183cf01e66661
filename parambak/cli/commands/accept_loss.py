"""`accept-loss`: go on without what is lost, by name and reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.accept_loss import AcceptLossQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.accept_loss import AcceptLossAnswer
    from parambak.cli.screen import Screen

MOST_SHOWN = 20


@parambak_command(
    "accept-loss",
    example="parambak accept-loss grebe/port-thruster --by 'J. Doe' --reason 'no copy has it'",
)
@click.argument("where", metavar="WHERE")
@click.option("--by", metavar="PERSON", required=True, help="Who accepts the loss.")
@click.option("--reason", metavar="TEXT", required=True, help="Why it is accepted.")
@pass_settings
def command(settings: Settings, where: str, by: str, reason: str) -> Answer:
    """Go on without records and files that are lost.

    First try to fetch them: `recheck` shows from where. A lost record may state anything. Until
    then, nothing of its vessel is verified or ready. WHERE is a vessel, a unit or a position. The
    acceptance is for the positions there. It stays on record, first on every page.
    """
    return settings.ask(answer, AcceptLossQuestion(where=where, by=by, reason=reason), _page)


def _page(screen: Screen, accepted: AcceptLossAnswer) -> None:
    for text in accepted.lost[:MOST_SHOWN]:
        screen.say(f"LOST {text}", indent=2)
    if len(accepted.lost) > MOST_SHOWN:
        screen.say(f"and {len(accepted.lost) - MOST_SHOWN} more; --json lists them.", indent=2)
    files = counted(len(accepted.lost), "file")
    places = counted(len(accepted.positions), "position")
    screen.warn(f"On record: the loss of {files} is accepted for {places}.")
    screen.say("Do next: `parambak catalogue` shows what is verified without them.")
