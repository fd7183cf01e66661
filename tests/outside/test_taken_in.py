"""What goes out to other programs, read by code that is not ours."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import polars as pl
import vobject

from parambak.answers.tables import encoded
from parambak.keeping.due import Due, Reason
from parambak.reports.calendar import calendar
from parambak.reports.tables import TABLES

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from parambak.reports.tables import Row


def moment() -> datetime:
    """Return a moment with its offset."""
    from datetime import datetime as clock
    from datetime import timedelta, timezone

    return clock(2026, 11, 25, 18, 0, tzinfo=timezone(timedelta(hours=2)))


def test_the_calendar_is_read_by_another_library() -> None:
    """vobject reads every event back: day, words, identity, long and strange texts."""
    long = "x" * 300 + " ünïcode; with, signs\nand a line"
    found = [
        Due("grebe/port/U12", "ab" * 16, (Reason("too-old", date(2027, 3, 1), long),)),
        Due("grebe/stbd/U12", "cd" * 16, (Reason("one-location", date(2026, 2, 28), "short"),)),
    ]
    book = vobject.readOne(calendar(found, moment()).decode("utf-8"))
    first, second = book.vevent_list
    assert first.dtstart.value == date(2027, 3, 1)
    assert first.dtend.value == date(2027, 3, 2)
    assert first.summary.value == "grebe/port/U12: too old"
    assert first.description.value.startswith("x" * 300 + " ünïcode; with, signs")
    assert first.uid.value == f"{'ab' * 16}-too-old@parambak"
    assert first.dtstamp.value.isoformat() == "2026-11-25T16:00:00+00:00"
    assert second.description.value == "short"


def test_the_lines_of_the_calendar_are_as_rfc_5545_has_them() -> None:
    """CRLF, at most 75 octets a line (RFC 5545, 3.1), DTSTAMP in UTC (3.8.7.2)."""
    due = Due("grebe/port/U12", "ab" * 16, (Reason("too-old", date(2027, 3, 1), "ü" * 200),))
    data = calendar([due], moment())
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert b"DTSTAMP:20261125T160000Z" in lines


def test_a_table_is_read_by_a_library_for_tables(tmp_path: Path) -> None:
    """polars, which has its own CSV reader, reads the same cells: quotes, commas, line ends."""
    table = TABLES["visits"]
    rows: list[Row] = [
        ("grebe", "2026-03-01", None, 'A. "Fitter", jr', None, 3, "line one\nline two", "ab"),
        ("avocet", "2026-03-02", "2026-03-03", "B", "socket; left", 0, "Überprüfung ✓", "cd"),
    ]
    file = tmp_path / "visits.csv"
    file.write_bytes(encoded(table, rows, "csv"))
    read = pl.read_csv(file, infer_schema=False).fill_null("")
    assert tuple(read.columns) == table.columns
    expected = [["" if value is None else str(value) for value in row] for row in rows]
    assert [list(row) for row in read.rows()] == expected
    lines = tmp_path / "visits.jsonl"
    lines.write_bytes(encoded(table, rows, "jsonl"))
    assert [tuple(row) for row in pl.read_ndjson(lines).rows()] == rows
