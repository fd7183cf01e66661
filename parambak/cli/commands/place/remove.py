"""`place remove`: a place is given up, as a new record; nothing in it is touched."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.place.remove import PlaceRemoveQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.place.remove import PlaceRemoveAnswer
    from parambak.cli.screen import Screen


@parambak_command("remove", example="parambak place remove red-stick")
@click.argument("name", metavar="NAME")
@pass_settings
def command(settings: Settings, /, name: str) -> Answer:
    """Give a place up: it is sent to no more, and what it holds counts no more.

    What is in it stays there. `place add` with its address takes it up again.
    """
    return settings.ask(answer, PlaceRemoveQuestion(name=name), _page)


def _page(screen: Screen, removed: PlaceRemoveAnswer) -> None:
    screen.good(f"{removed.place} is given up; what is in it was not touched.")
