"""`undo`: the last command of this user taken back, once it is shown."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from parambak.answers.undo import UndoQuestion, answer, to_undo
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.withdrawn import left_lines, withdrawn_lines
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.undo import UndoAnswer
    from parambak.cli.screen import Screen


@parambak_command("undo", example="parambak undo --by 'J. Doe'")
@click.option("--by", metavar="PERSON", help="Who takes it back.")
@click.option("--reason", metavar="TEXT", help="Why it is taken back.")
@click.option("--redo", is_flag=True, help="Cancel the last `undo`: its records count again.")
@pass_settings
def command(
    settings: Settings, /, *, by: str | None, reason: str | None, redo: bool
) -> Answer | int:
    """Take back the last command that put something on record from this computer.

    A terminal shows what it was, and asks. Again, it takes back the command before.

    Its records stay in the vault, and count nowhere. Files that it wrote elsewhere stay as they
    are. `backup send` and `recheck` are passed over: they state what was on a disk.
    """
    shown = None
    if not settings.json and sys.stdin.isatty():
        last = to_undo(settings.session, redo=redo)
        click.echo(f"Last put on record from here: {last.text}.", err=True)
        if not click.confirm("Take it back?", default=False, err=True):
            click.echo("Nothing was changed.", err=True)
            return 1
        shown = last.command
    question = UndoQuestion(by=by, reason=reason, redo=redo, command=shown)
    return settings.ask(answer, question, _page)


def _page(screen: Screen, undone: UndoAnswer) -> None:
    screen.good(f"Taken back: {undone.undone}.")
    withdrawn_lines(screen, undone.withdrawn)
    left_lines(screen, undone.left)
