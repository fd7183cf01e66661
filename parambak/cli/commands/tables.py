"""`tables`: everything on record as CSV or JSON lines, for other programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

import click

from parambak.answers.tables import Form, TablesQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.tables import TablesAnswer
    from parambak.cli.screen import Screen


@parambak_command("tables", example="parambak tables --as csv --out tables")
@click.argument("vessel", metavar="[VESSEL]", required=False)
@click.option(
    "--as",
    "form",
    type=click.Choice(get_args(Form)),
    default="csv",
    show_default=True,
    help="The format.",
)
@click.option("--out", metavar="FOLDER", required=True, help="The folder to write them in.")
@click.option("--replace", is_flag=True, help="Write over existing files.")
@pass_settings
def command(
    settings: Settings, /, *, vessel: str | None, form: Form, out: str, replace: bool
) -> Answer:
    """Write all tables of VESSEL, or of all vessels, as files in FOLDER.

    formats/tables.md lists the columns, which do not change. In CSV, a cell that a
    spreadsheet would take as a formula begins with an apostrophe. JSON lines are exact.
    """

    def page(screen: Screen, answered: TablesAnswer) -> None:
        screen.good(f"Written: {counted(len(answered.files), 'table')} in {out}.")

    question = TablesQuestion(out=out, vessel=vessel, form=form, replace=replace)
    return settings.ask(answer, question, page)
