"""`visit open`: who attends which vessel, so that it need not be typed again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.visit.open import VisitOpenQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.person import asked_for
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.visit.open import VisitOpenAnswer
    from parambak.cli.screen import Screen


@parambak_command("open", example="parambak visit open grebe --by 'J. Doe' --reader 'bench 2'")
@click.argument("vessel", metavar="VESSEL")
@click.option("--by", metavar="PERSON", help="Who attends.")
@click.option("--reader", metavar="TEXT", help="The reader (programmer) that is used.")
@click.option(
    "--on",
    metavar="DATE",
    help="The first day, such as 2026-03-01, or '2026-03-01 08:30'. Default: today.",
)
@click.option("--new-vessel", is_flag=True, help="The vessel is new: it is not on record yet.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Open a visit to VESSEL: `archive` then takes vessel, person and reader from it."""
    options["by"] = asked_for(settings, options["by"], options["vessel"])
    return settings.ask(answer, VisitOpenQuestion(**options), _page)


def _page(screen: Screen, opened: VisitOpenAnswer) -> None:
    vessel = "a new vessel" if opened.new_vessel else "on record already"
    screen.good(f"Visit to {opened.vessel} ({vessel}) is open since {opened.on}.")
