"""`tables`: everything on record as CSV or JSON lines, for another program to take in."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from parambak.cli.command import command as parambak_command
from parambak.cli.parts.report_out import desk_of
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state import select
from parambak.memory.counted import counted
from parambak.vault.files.given import FILE_KIND, refuse_within

if TYPE_CHECKING:
    from parambak.reports.tables import Row, Table

KINDS = ("csv", "jsonl")


@parambak_command("tables", example="parambak tables --as csv --out tables")
@click.argument("vessel", metavar="[VESSEL]", required=False)
@click.option(
    "--as", "kind", type=click.Choice(KINDS), default="csv", show_default=True, help="The format."
)
@click.option("--out", metavar="FOLDER", required=True, help="The folder to write them in.")
@click.option("--replace", is_flag=True, help="Write over files that stand there.")
@pass_settings
def command(
    settings: Settings, /, *, vessel: str | None, kind: str, out: str, replace: bool
) -> Answer:
    """Write all tables of VESSEL, or of all vessels, as files in FOLDER.

    The columns are those of formats/tables.md, and stay. A cell of CSV that a spreadsheet
    would take for a formula has an apostrophe before it; JSON lines are exact.
    """
    from parambak.keeping.state.backups import Holdings  # noqa: PLC0415 - for the tables only
    from parambak.reports.tables import TABLES  # noqa: PLC0415 - the same

    desk = desk_of(settings)
    refuse_within(out, desk.assessor.vault.root)
    folder = _folder(out)
    holdings = Holdings(desk.assessor.vault)
    known = desk.fleet
    vessels = known.vessels if vessel is None else (select.find_vessel(known, vessel),)
    rows: dict[str, list[Row]] = {name: [] for name in TABLES}
    with Progress(quiet=settings.json, doing="listing") as progress:
        for count, each in enumerate(vessels, start=1):
            for name, table in TABLES.items():
                rows[name] += table.rows(desk, holdings, each)
            each.forget()
            progress(count, len(vessels))
    written = []
    for name, table in TABLES.items():
        path = folder / f"{name}.{kind}"
        _write(path, _encoded(table, rows[name], kind), replace=replace)
        written.append({"file": str(path), "rows": len(rows[name])})
    return Answer(
        {"files": written},
        lambda screen: screen.good(f"Written: {counted(len(written), 'table')} in {out}."),
    )


def _folder(out: str) -> Path:
    folder = Path(out)
    if folder.exists() and not folder.is_dir():
        raise FILE_KIND.error(file=out, expected="a folder", found="a file")
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _encoded(table: Table, rows: list[Row], kind: str) -> bytes:
    from parambak.reports.tables import cell  # noqa: PLC0415 - for the tables only

    text = io.StringIO()
    if kind == "csv":
        writer = csv.writer(text, lineterminator="\r\n")  # RFC 4180
        writer.writerow(table.columns)
        writer.writerows([cell(value) for value in row] for row in rows)
    else:
        for row in rows:
            line = dict(zip(table.columns, row, strict=True))
            text.write(json.dumps(line, ensure_ascii=False) + "\n")
    return text.getvalue().encode("utf-8", "backslashreplace")


def _write(path: Path, data: bytes, *, replace: bool) -> None:
    from parambak.vault.files.disk import write_export  # noqa: PLC0415 - for writing only

    write_export(path, data, replace=replace)
