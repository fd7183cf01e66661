"""formats/changes.md: the reads of its examples, sorted, give its tables."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from parambak.differences import fields, moves
from parambak.differences.history import history
from parambak.differences.reread import DIFFERENT, reread
from parambak.layouts.load import load
from parambak.memory.image import Image

PAGE = (Path(__file__).parents[2] / "formats" / "changes.md").read_text(encoding="utf-8")
LAYOUT = load(re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)[0].encode())
EXAMPLE = re.compile(
    r"```hex( one-day)?\n(.*?)```\n\n\| read [^\n]*\n\|[-|]+\n(.*?)(?:\n\n|\Z)", re.DOTALL
)
EXAMPLES = EXAMPLE.findall(PAGE)
SHORT = 12


def sorted_rows(reads: list[Image], *, one_day: bool) -> list[tuple[str, ...]]:
    """Return the rows of a table of the page, for what the history is about some reads."""

    def unstable(number: int) -> bool:
        return one_day and reread(LAYOUT, reads[number - 1], reads[number]).kind == DIFFERENT

    rows: list[tuple[str, ...]] = []
    for step in history(LAYOUT, reads, unstable).steps:
        read = str(step.image + 1)
        for each in step.moves:
            where = f"0x{each.start:04X}-0x{each.end - 1:04X}"
            rows.append((read, where, "", each.words, "", "moved"))
        for change in step.fields:
            sort = f"{change.kind}, {change.crossed}" if change.crossed else change.kind
            values = change.old[:SHORT], change.new[:SHORT]
            rows.append((read, change.field, *values, change.by or "", sort))
        rows += [
            (read, f"0x{loose.range.start:04X}", "", "", "", loose.kind) for loose in step.loose
        ]
        rows += [(read, check, "holds", "does not hold", "", "broken") for check in step.broken]
    return rows


@pytest.mark.parametrize(("one_day", "reads", "table"), EXAMPLES)
def test_an_example_is_sorted_as_its_table_says(one_day: str, reads: str, table: str) -> None:
    """Every change, no more and no less."""
    images = [
        Image.of(bytes.fromhex(line).ljust(LAYOUT.memory, b"\xff")) for line in reads.splitlines()
    ]
    rows = [
        tuple(cell.strip() for cell in line.strip().strip("|").split("|"))
        for line in table.splitlines()
    ]
    assert sorted_rows(images, one_day=bool(one_day)) == rows


def test_every_sort_and_every_move_is_on_the_page() -> None:
    """With an example for each sort, and the words for each move."""
    assert len(EXAMPLES) == 11
    every = {
        fields.RUNNING,
        fields.TOLERANCE,
        fields.CHECK,
        fields.PARAMETER,
        fields.ALTERNATES,
        fields.FADING,
        fields.MOVED,
        fields.UNMAPPED,
        fields.UNSTABLE,
    }
    shown = {
        line.split("|")[-2].split(",")[0].strip() for _, _, t in EXAMPLES for line in t.split("\n")
    }
    assert every <= shown
    for kind, words in moves.WORDS.items():
        assert f"| `{kind}` |" in PAGE
        assert words in PAGE
