"""The bodies on the page of the records: the examples run as they stand, its tables are whole."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import msgspec
import pytest

from parambak.keeping.recording.entries import FACTS
from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import KINDS, body_of
from parambak.vault.records import unfit
from tests.keeping.state.test_bodies import DIGEST, record_of

FORMATS = Path(__file__).parents[3] / "formats"
PAGE = (FORMATS / "records.md").read_text("utf-8").split("\n## Bodies\n")[1]
EXAMPLES = re.findall(r"```body ([a-z-]+)\n(.*?)```", PAGE, re.DOTALL)
ROW = re.compile(r"^\| `(\w+)` \| (yes|no) \| [^|]+ \| [^|]+ \|$", re.MULTILINE)
SHARED: dict[str, type[bodies.Body]] = {
    "entity": bodies.Entity,
    "image": bodies.ImageEntry,
    "dump": bodies.DumpEntry,
    "reader sum": bodies.ReaderSum,
    "normal": bodies.Normal,
    "layout": bodies.LayoutEntry,
    "profile": bodies.ProfileEntry,
    "renames": bodies.RenamesEntry,
    "limits": bodies.LimitsEntry,
    "moved from": bodies.MovedFrom,
    "reading": bodies.ReadingEntry,
    "condition": bodies.ConditionEntry,
}


def section(title: str) -> str:
    """Return what stands under a heading, up to the next."""
    found = re.search(rf"^#+ {title}\n(.*?)(?=^#+ |\Z)", PAGE, re.DOTALL | re.MULTILINE)
    assert found is not None, title
    return found[1]


@pytest.mark.parametrize(("kind", "text"), EXAMPLES)
def test_an_example_is_a_body_of_its_kind(kind: str, text: str) -> None:
    """It parses, re-encodes to the same members, and fits a record."""
    members: dict[str, Any] = json.loads(text)
    assert unfit(members) is None
    body = body_of(record_of(kind, members), DIGEST, KINDS[kind])
    assert json.loads(msgspec.json.encode(body.members())) == members


def test_every_kind_has_an_example_with_all_its_members() -> None:
    """One each, and every member of the kind's table is in it."""
    assert sorted(kind for kind, _ in EXAMPLES) == sorted(KINDS)
    for kind, text in EXAMPLES:
        named = {field.encode_name for field in msgspec.structs.fields(KINDS[kind])}
        assert set(json.loads(text)) == named, kind


@pytest.mark.parametrize(("title", "kind"), [*KINDS.items(), *SHARED.items()])
def test_a_table_names_every_member_and_whether_it_is_needed(
    title: str, kind: type[bodies.Body]
) -> None:
    """No more, no less."""
    fields = msgspec.structs.fields(kind)
    told = {name: needed == "yes" for name, needed in ROW.findall(section(title))}
    assert told == {field.encode_name: field.required for field in fields}


def test_every_fact_is_on_the_page() -> None:
    """Each fact that can be told of anything."""
    missing = [name for names in FACTS.values() for name in names if f"`{name}`" not in PAGE]
    assert missing == []
