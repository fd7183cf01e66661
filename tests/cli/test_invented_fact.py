"""A fact of a read that nobody has stated yet: one member, and it is everywhere a fact belongs."""

from __future__ import annotations

import importlib
import json
from typing import TYPE_CHECKING, Annotated

import pytest

from parambak.cli.commands import archive
from parambak.keeping.state import bodies, read_facts
from parambak.keeping.state.read_facts import ReadFact, ReadFacts
from parambak.reports import tables
from tests.cli.invented import MEMORY, WHERE

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.cli.conftest import Ship

WEATHER = ReadFact("--weather", "The weather.", phrase="in {}".format)


class Facts(ReadFacts, frozen=True):
    """The facts of a read, and one more."""

    weather: Annotated[str | None, WEATHER] = None


class ReadBody(bodies.ReadBody, frozen=True):
    """The record of a read, which has every fact as a member."""

    weather: str | None = None


@pytest.fixture(autouse=True)
def _invented() -> Iterator[None]:
    """Give the program one fact more; what it makes as it is imported is made again."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(read_facts, "ReadFacts", Facts)
        patch.setattr(bodies, "ReadBody", ReadBody)
        patch.setitem(bodies.KINDS, "read", ReadBody)
        importlib.reload(archive)
        importlib.reload(tables)
        yield
    importlib.reload(archive)
    importlib.reload(tables)


def test_it_is_an_option_and_a_member_of_the_record(ship: Ship) -> None:
    """`archive --help` shows it; what is typed stands in the record."""
    ship.write("a.bin", MEMORY)
    assert "The weather." in ship.run("archive", "--help").out
    ship.run("archive", "a.bin", *WHERE, "--chip", "28C16", "--weather", "hail", "--compared")
    (record,) = (
        json.loads(path.read_bytes())
        for path in (ship.vault / "records").rglob("*.json")
        if b'"kind":"read"' in path.read_bytes()
    )
    assert (record["body"]["weather"], record["body"]["compared"]) == ("hail", True)


def test_it_stands_on_a_page_and_in_the_table_of_reads(ship: Ship) -> None:
    """Once known of the read: the page says its phrase; the table has it behind the last."""
    ship.write("a.bin", MEMORY)
    ship.run("archive", "a.bin", *WHERE, "--chip", "28C16", "--weather", "hail", "--how", "clip")
    ship.run("report", "copy", "/".join(WHERE[1::2]), "--out", "page.html")
    assert "in hail, clip" in (ship.folder / "page.html").read_text("utf-8")
    ship.run("tables", "--out", "tables")
    head, row = (ship.folder / "tables" / "reads.csv").read_text("utf-8-sig").splitlines()
    assert head.split(",")[-2:] == ["record", "weather"]
    assert row.endswith(",hail")


def test_a_text_that_a_record_cannot_keep_is_refused(ship: Ship) -> None:
    """It is checked as every name is."""
    ship.write("a.bin", MEMORY)
    result = ship.run("archive", "a.bin", *WHERE, "--chip", "28C16", "--weather", "h\x07")
    assert result.code == 2
    assert not ship.vault.exists()
