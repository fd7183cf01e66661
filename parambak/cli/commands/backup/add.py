"""`backup add`: a second folder, stick or server that holds the same."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.backup.add import BackupAddQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.backup import typed_address
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.backup.add import BackupAddAnswer
    from parambak.cli.screen import Screen


@parambak_command("add", example="parambak backup add red-stick /media/red/parambak --vessel grebe")
@click.argument("name", metavar="NAME")
@click.argument("address", metavar="ADDRESS")
@click.option(
    "--vessel",
    "vessels",
    multiple=True,
    metavar="VESSEL",
    help="Only this vessel; repeat it for more.",
)
@click.option(
    "--packed", is_flag=True, help="One pack for each vessel: better on a stick with FAT."
)
@click.option(
    "--merge", is_flag=True, help="Keep another vault that is there together with this one."
)
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    name: str,
    address: str,
    vessels: tuple[str, ...],
    packed: bool,
    merge: bool,
) -> Answer:
    """Add a backup location, for the whole vault or for some vessels of it.

    ADDRESS is a folder, sftp://USER@HOST/PATH, or a URL of fsspec. NAME goes with the records
    that are sent there; the address does not. Then `backup send` fills it.
    """
    question = BackupAddQuestion(
        name=name, address=typed_address(address), vessels=vessels, packed=packed, merge=merge
    )
    return settings.ask(answer, question, _page)


def _page(screen: Screen, added: BackupAddAnswer) -> None:
    what = "all vessels" if added.vessels is None else ", ".join(added.vessels)
    screen.good(f"{added.location} is a backup location for {what}.")
    screen.say(f"Fill it with `parambak backup send {added.location}`.")
