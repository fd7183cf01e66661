"""`card blank`: a card sheet to fill in."""

from __future__ import annotations

from pathlib import Path

import click

from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer
from parambak.vault.files.given import shipped

BLANK = "cards/blank.toml"


@parambak_command("blank", example="parambak card blank --out PC-4471.toml", vault=False)
@click.option("--out", metavar="FILE", help="The file to write; else it is printed.")
@click.option("--replace", is_flag=True, help="Write over a file that stands there.")
def command(out: str | None, replace: bool) -> Answer:  # noqa: FBT001 - click passes flags so
    """Write a card sheet in which every line is a comment, to fill in in any editor."""
    data = shipped(BLANK)
    text = data.decode("utf-8")
    if out is None:
        return Answer({"file": None, "text": text}, lambda _: click.echo(text, nl=False))
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - once the call is right

    write_export(Path(out), data, replace=replace)
    return Answer(
        {"file": out, "text": text},
        lambda screen: screen.good(
            f"A blank card sheet is in {out}. Take the # away from the lines that you fill in; "
            "then keep it with `parambak card record`."
        ),
    )
