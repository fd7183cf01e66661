"""`due` and `tables`, as a user and a script meet them."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.cli.commands.due import NEXT
from parambak.keeping.due import URGENCY
from parambak.reports.tables import TABLES, cell
from tests.cli.invented import WHERE, archive_two, changed, dump

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

AT = "grebe/port-thruster/U12"
RULES = (
    b"[rules]\ntitle='owner'\nsource='invented'\n"
    b"[intervals]\nverified-months = 12\nbackup-locations = 1\n"
)
PAGE = (Path(__file__).parents[2] / "formats" / "tables.md").read_text("utf-8")


def codes(ship: Ship, *words: str) -> list[str]:
    """Return the reasons for the one position that is due."""
    answer = ship.answer("due", *words)
    assert answer.code == 0
    return [r["code"] for each in answer.document["due"] for r in each["reasons"]]


def test_one_read_then_one_location_then_nothing(ship: Ship) -> None:
    """Each goes away once it is seen to."""
    ship.write("a.hex", dump())
    ship.run("archive", "a.hex", *WHERE)
    assert codes(ship) == ["one-read", "one-location"]
    ship.write("b.hex", dump(), second=1)
    ship.run("archive", "b.hex", *WHERE)
    assert codes(ship) == ["one-location"]
    ship.run("backup", "add", "office", "office")
    assert ship.run("backup", "send", "office").code == 0
    assert codes(ship) == []
    assert "Nothing is due among 1 position" in ship.run("due").out


def test_a_copy_older_than_the_rules_allow_is_due(ship: Ship) -> None:
    """Ahead of time where it is asked for."""
    archive_two(ship)
    ship.write("rules.toml", RULES)
    ship.run("rules", "record", "grebe", "rules.toml")
    assert codes(ship, AT) == ["too-old", "one-location"]
    ship.run("backup", "add", "office", "office")
    ship.run("backup", "send", "office")
    assert codes(ship) == []
    assert codes(ship, "--ahead", "400") == ["too-old"]
    words = ("--vessel", "grebe", "--unit", "old", "--position", "U1", "--read-on", "2020-01-01")
    ship.write("o1.hex", dump(changed(0x0200)), second=5)
    ship.write("o2.hex", dump(changed(0x0200)), second=6)
    ship.run("archive", "o1.hex", "o2.hex", *words)
    ship.run("backup", "send", "office")
    late = ship.answer("due", "grebe/old").document["due"][0]
    assert late["on"] == "2021-01-01"
    assert late["overdue_days"] > 365
    assert "most urgent is grebe/old/U1" in ship.run("due").out


def test_the_page_puts_what_is_due_before_what_only_comes_due(ship: Ship) -> None:
    """What comes due is stated where it is asked for, below; the next step is of what is due."""
    archive_two(ship)
    ship.write("rules.toml", RULES)
    ship.run("rules", "record", "grebe", "rules.toml")
    page = ship.run("due").out
    assert "the ship's rules allow" not in page
    assert re.search(rf"^{AT} +due +held in no backup location", page, re.MULTILINE)
    assert "Do next: run `parambak backup send NAME`" in page
    ahead = ship.run("due", "--ahead", "400").out
    assert re.search(rf"^{AT} +due +held in no backup location", ahead, re.MULTILINE)
    assert re.search(r"^ +from \d{4}-\d\d-\d\d +the verified copy", ahead, re.MULTILINE)


@pytest.mark.parametrize("code", URGENCY)
def test_every_reason_has_a_next_step(code: str) -> None:
    """So that none is answered by a fault of our own."""
    assert "`parambak " in NEXT[code]


def test_the_calendar_holds_all_that_comes_due(ship: Ship) -> None:
    """What is not due yet, too; a file is not written over unasked."""
    archive_two(ship)
    ship.write("rules.toml", RULES)
    ship.run("rules", "record", "grebe", "rules.toml")
    assert ship.run("due", "--calendar", "due.ics").code == 0
    text = (ship.folder / "due.ics").read_text("utf-8")
    assert text.count("BEGIN:VEVENT") == 2
    again = ship.answer("due", "--calendar", "due.ics")
    assert (again.code, again.document["error"]["code"]) == (2, "vault-export-exists")
    inside = ship.answer("due", "--calendar", "vault/due.ics")
    assert inside.code == 2
    assert ship.run("due", "--calendar", "due.ics", "--replace").code == 0


def test_tables_are_written_with_a_stable_header(ship: Ship) -> None:
    """As CSV and as JSON lines, the same content."""
    archive_two(ship)
    ship.run("visit", "open", "grebe", "--by", "A. Fitter")
    ship.run("measure", "grebe/port-thruster", "bus_input=48V")
    ship.run("visit", "close", "--remark", 'said "so", twice\nand once more')
    ship.run("card", "add", "grebe", "PC-1")
    ship.run("swap", "open", AT, "--by", "A. Fitter", "--reason", "=1+1")
    assert ship.run("tables", "--out", "t").code == 0
    assert ship.run("tables", "--out", "t", "--as", "jsonl").code == 0
    for name, table in TABLES.items():
        with (ship.folder / "t" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
            header, *rows = list(csv.reader(file))
        assert tuple(header) == table.columns
        assert rows, name
        lines = (ship.folder / "t" / f"{name}.jsonl").read_text("utf-8").splitlines()
        told = [json.loads(line) for line in lines]
        assert [[cell(value) for value in each.values()] for each in told] == rows
        assert all(tuple(each) == table.columns for each in told)
    with (ship.folder / "t" / "swaps.csv").open(newline="", encoding="utf-8") as file:
        assert next(csv.DictReader(file))["why"] == "'=1+1"
    assert json.loads((ship.folder / "t" / "swaps.jsonl").read_text("utf-8"))["why"] == "=1+1"


def test_tables_are_not_written_over_nor_into_the_vault(ship: Ship) -> None:
    """Each refused by its code."""
    archive_two(ship)
    assert ship.run("tables", "grebe", "--out", "t").code == 0
    again = ship.answer("tables", "--out", "t")
    assert again.document["error"]["code"] == "vault-export-exists"
    assert ship.answer("tables", "--out", "vault/t").code == 2
    assert ship.answer("tables", "--out", "a.hex").code == 2
    assert ship.run("tables", "--out", "t", "--replace").code == 0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (True, "yes"),
        (False, "no"),
        (7, "7"),
        ("-7.5", "-7.5"),
        ("+7", "+7"),
        ("=1+1", "'=1+1"),
        ("-x", "'-x"),
        ("@sum", "'@sum"),
        ("\tx", "'\tx"),
        ("plain = text", "plain = text"),
    ],
)
def test_a_cell_is_no_formula(value: str | int | bool | None, text: str) -> None:
    """Numbers are left alone."""
    assert cell(value) == text


def test_the_page_names_every_column_in_its_order() -> None:
    """Of every table."""
    for name, table in TABLES.items():
        section = re.search(rf"^## {name}\n(.*?)(?=^## |\Z)", PAGE, re.DOTALL | re.MULTILINE)
        assert section is not None, name
        assert tuple(re.findall(r"^\| `(\w+)` \|", section[1], re.MULTILINE)) == table.columns
