"""Everything on record as CSV or JSON lines, for another program to take in."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.state import select
from parambak.vault.files.given import make_folder, refuse_within, write_given

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.answers.session import Session
    from parambak.keeping.state.model import Vessel
    from parambak.reports.tables import Row, Table

Form = Literal["csv", "jsonl"]


class TablesQuestion(Question["TablesAnswer"], frozen=True):
    """Which vessel, None for all; in which form, and into which folder."""

    out: str
    vessel: str | None = None
    form: Form = "csv"
    replace: bool = False


class TableWritten(Part, frozen=True):
    """A table's file, and how many rows it has next to its headings."""

    file: str
    rows: int


class TablesAnswer(Answer, frozen=True):
    """The files that were written, one a table."""

    files: tuple[TableWritten, ...]


def answer(session: Session, question: TablesQuestion) -> TablesAnswer:
    """Write the tables; raise NotFound or what a file is refused for."""
    from parambak.reports.tables import TABLES  # noqa: PLC0415 - for the tables only

    refuse_within(question.out, session.vault.root)
    make_folder(question.out)
    fleet = session.fleet()
    vessels = fleet.vessels
    if question.vessel is not None:
        vessels = (select.find_vessel(fleet, question.vessel),)
    rows = _rows(session, vessels)
    files = []
    for name, table in TABLES.items():
        path = str(PurePath(question.out) / f"{name}.{question.form}")
        write_given(path, encoded(table, rows[name], question.form), replace=question.replace)
        files.append(TableWritten(path, len(rows[name])))
    return TablesAnswer(files=tuple(files))


def _rows(session: Session, vessels: Sequence[Vessel]) -> dict[str, list[Row]]:
    """Return the rows of each table; of a fleet one vessel is held at a time."""
    from parambak.answers.report.pages import desk_of  # noqa: PLC0415 - for the tables only
    from parambak.keeping.state.backups import Holdings  # noqa: PLC0415 - the same
    from parambak.reports.tables import TABLES  # noqa: PLC0415 - the same

    desk, holdings = desk_of(session), Holdings(session.vault)
    rows: dict[str, list[Row]] = {name: [] for name in TABLES}
    with session.progress("listing") as progress:
        for count, vessel in enumerate(vessels, start=1):
            for name, table in TABLES.items():
                rows[name] += table.rows(desk, holdings, vessel)
            vessel.forget()
            progress(count, len(vessels))
    return rows


def encoded(table: Table, rows: Iterable[Row], form: Form) -> bytes:
    """Return a table's file: CSV after RFC 4180, or one JSON object a line."""
    import csv  # noqa: PLC0415 - for writing only
    import io  # noqa: PLC0415 - the same
    import json  # noqa: PLC0415 - the same

    from parambak.reports.tables import cell  # noqa: PLC0415 - for the tables only

    text = io.StringIO()
    if form == "csv":
        writer = csv.writer(text, lineterminator="\r\n")
        writer.writerow(table.columns)
        writer.writerows([cell(value) for value in row] for row in rows)
    else:
        for row in rows:
            line = dict(zip(table.columns, row, strict=True))
            text.write(json.dumps(line, ensure_ascii=False) + "\n")
    return text.getvalue().encode("utf-8", "backslashreplace")
