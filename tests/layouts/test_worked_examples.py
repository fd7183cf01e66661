"""The examples of formats/field-layout.md, run as they are on the page."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import pytest

from parambak.layouts.decode import Decoded, decode
from parambak.layouts.load import load
from parambak.memory.image import Image

PAGE = Path(__file__).parents[2] / "formats" / "field-layout.md"
EXAMPLE = re.compile(
    r"(?P<parts>(?:```toml [\w./-]+\n(?:(?!```).)*```\n\n)*)"
    r"```toml\n(?P<layout>.*?)```\n\n```hex\n(?P<image>.*?)```\n(?P<rest>.*?)(?=```|\Z)",
    re.DOTALL,
)
PART = re.compile(r"```toml (?P<name>[\w./-]+)\n(?P<text>.*?)```", re.DOTALL)
YES_NO = {"yes": True, "no": False, "": None}


class Example(NamedTuple):
    """One example: its layout, its bytes, and the rows of its tables by their first column.

    `parts` are the files that it includes, by name.
    """

    layout: bytes
    image: bytes
    tables: dict[str, list[dict[str, str]]]
    parts: dict[str, bytes]


def rows(text: str) -> dict[str, list[dict[str, str]]]:
    """Return the tables of a piece of Markdown, each under the name of its first column."""
    found: dict[str, list[dict[str, str]]] = {}
    heads: list[str] = []
    for line in text.splitlines():
        if not line.startswith("|"):
            heads = []
            continue
        cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
        if not heads:
            heads = cells
            found.setdefault(heads[0], [])
        elif not set(line) <= set("|- "):
            found[heads[0]].append(dict(zip(heads, cells, strict=True)))
    return found


def examples() -> list[Example]:
    """Return every example of the page."""
    text = PAGE.read_text(encoding="utf-8")
    return [
        Example(
            found["layout"].encode(),
            bytes.fromhex(found["image"]),
            rows(found["rest"]),
            {part["name"]: part["text"].encode() for part in PART.finditer(found["parts"])},
        )
        for found in EXAMPLE.finditer(text)
    ]


def decoded(example: Example) -> Decoded:
    """Return what the example's layout decodes from its bytes, which must fill its memory."""
    layout = load(example.layout, include=example.parts.__getitem__)
    assert len(example.image) == layout.memory
    return decode(layout, Image.of(example.image))


@pytest.mark.parametrize(
    "example", examples(), ids=lambda each: each.layout.split(b'"')[1].decode()
)
def test_the_fields_of_an_example(example: Example) -> None:
    """Each field of the table comes out with the raw bytes, value, limits and mark given."""
    found = decoded(example).fields
    wanted = example.tables["field"]
    assert [each.field for each in found] == [row["field"] for row in wanted]
    for each, row in zip(found, wanted, strict=True):
        assert each.raw is not None
        assert each.raw.hex().upper() == row["raw"]
        assert (each.value or "") == row["value"], each.field
        assert (each.mark or "") == row["mark"], each.field
        if "within" in row:
            assert each.within_limits is YES_NO[row["within"]], each.field


@pytest.mark.parametrize(
    "example", examples(), ids=lambda each: each.layout.split(b'"')[1].decode()
)
def test_the_checks_of_an_example(example: Example) -> None:
    """Each check of the table holds or not, with the stored and computed values given."""
    found = decoded(example).checks
    wanted = example.tables.get("check", [])
    assert [each.check for each in found] == [row["check"] for row in wanted]
    for each, row in zip(found, wanted, strict=True):
        assert each.holds is YES_NO[row["holds"]], each.check
        assert (each.stored or "", each.computed or "") == (row["stored"], row["computed"])


def test_every_block_of_the_page_is_run() -> None:
    """A block that the pattern passes over would not be tested."""
    text = PAGE.read_text(encoding="utf-8")
    found = examples()
    assert text.count("```toml") == len(found) + sum(len(each.parts) for each in found)
    assert text.count("```hex") == len(found)
