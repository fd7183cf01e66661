"""The corpora of two packages, file by file: the same bytes as unrelated programs read."""

from __future__ import annotations

import os
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from parambak.dumps.registry import read_dump
from parambak.errors import DumpRefused
from tests.outside.corpora import FORMAT_OF_SUFFIX, SOURCES, fetch, files, folder
from tests.outside.judges import JUDGES, asked, verdict

if TYPE_CHECKING:
    from parambak.memory.image import Image

PAGE = (Path(__file__).parents[2] / "formats" / "reader-differences.md").read_text("utf-8")
COLUMNS = ("intelhex", "bincopy", "hexrec", "srec_cat")
COUNTS = {"bincopy": (33, 23), "hexrec": (78, 62)}
"""Files in each corpus, and how many of them are read here."""


def rows(corpus: str) -> dict[str, list[str]]:
    """Return the cells after the name of each row about one corpus, by the name's pattern."""
    found = {}
    for line in PAGE.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 9 and cells[0] == corpus:
            found[cells[1].strip("`")] = cells[2:]
    return found


def outcome(name: str, data: bytes) -> tuple[str, Image | None]:
    """Return what this reader makes of a file by its name: "reads", or its code."""
    try:
        return "reads", read_dump(name, data).image
    except DumpRefused as error:
        return error.code, None


def cell(judge: str, format_name: str, data: bytes, ours: Image | None) -> str:
    """Return how one program differs from this reader; "same" if it does not."""
    if judge not in asked(format_name):
        return "-"
    theirs = verdict(judge, format_name, data)
    if theirs is None:
        return "same" if ours is None else "refuses"
    return "same" if theirs == ours else "reads" if ours is None else "other bytes"


@pytest.mark.parametrize("corpus", SOURCES)
def test_every_difference_is_in_the_table(corpus: str) -> None:
    """A difference that has no row fails, and so does a row that no file confirms."""
    try:
        package = fetch(corpus, folder())
    except OSError as error:
        if "PARAMBAK_CORPORA" in os.environ:
            raise
        pytest.skip(str(error))
    left = rows(corpus)
    counted = dict.fromkeys(left, 0)
    read = 0
    content = files(package)
    for name, data in content.items():
        format_name = FORMAT_OF_SUFFIX[name.rpartition(".")[2]]
        here, image = outcome(name, data)
        read += image is not None
        cells = {judge: cell(judge, format_name, data, image) for judge in COLUMNS}
        if set(cells.values()) <= {"same", "-"}:
            continue
        pattern = next((each for each in left if fnmatchcase(name, each)), None)
        assert pattern is not None, f"{name}: {here}, {cells} is not in the table"
        counted[pattern] += 1
        stated = dict(zip(COLUMNS, left[pattern][2:6], strict=True))
        assert f"`{here}`" == left[pattern][1], name
        for judge in JUDGES:
            told = {"same": "refuses"}.get(cells[judge], cells[judge])
            assert told == stated[judge], f"{name}: {judge}"
    assert counted == {pattern: int(each[0]) for pattern, each in left.items()}
    assert (len(content), read) == COUNTS[corpus]
