from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from documents import schema
from parambak.layouts import model
from parambak.layouts.field_types import TYPES

ROOT = Path(__file__).parents[2]
TABLES = (model.Field, model.Group, model.Check, model.Reserved, model.Mirrored, model.Head)


def test_the_committed_schema_is_what_the_program_gives() -> None:
    """formats/field-layout.schema.json is as `python3 dev.py documents` writes it."""
    committed = ROOT / "formats" / "field-layout.schema.json"
    assert committed.read_text(encoding="utf-8") == schema.page()


def test_the_schema_has_every_table_key_and_type() -> None:
    """Nothing of the language is missing, and no other key is allowed."""
    found = json.loads(schema.page())["$defs"]
    for table in TABLES:
        entry = found[table.__name__]
        assert list(entry["properties"]) == list(table.__struct_encode_fields__)
        assert entry["additionalProperties"] is False
    types = found["Field"]["properties"]["type"]["enum"]
    assert sorted(types) == sorted(TYPES)


@pytest.mark.parametrize(
    "path", sorted((ROOT / "shared" / "layouts").glob("**/*.toml")), ids=lambda each: each.stem
)
def test_the_ready_layouts_fit_the_schema(path: Path) -> None:
    """By an unrelated checker of JSON Schema."""
    jsonschema = pytest.importorskip("jsonschema")
    made: dict[str, Any] = json.loads(schema.page())
    jsonschema.Draft202012Validator(made).validate(tomllib.loads(path.read_text(encoding="utf-8")))
