"""The layouts of shared/layouts/: good, invented, and each word of the language in one of them."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from parambak.layouts import coverage, model
from parambak.layouts.decode import decode
from parambak.layouts.field_types import TYPES
from parambak.layouts.load import check, load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from parambak.layouts.model import Layout

FOLDER = Path(__file__).parents[2] / "shared" / "layouts"
READY = sorted(FOLDER.glob("*.toml"))
TABLES = {
    "layout": model.Head,
    "field": model.Field,
    "group": model.Group,
    "check": model.Check,
    "reserved": model.Reserved,
    "mirrored": model.Mirrored,
}


def include(name: str) -> bytes:
    """Return a part that lies below the folder."""
    return (FOLDER / name).read_bytes()


def ready(path: Path) -> Layout:
    """Return a ready layout."""
    return load(path.read_bytes(), name=path.name, include=include)


def used() -> tuple[set[tuple[str, str]], set[str]]:
    """Return every key that the files use, by its table, and every type."""
    keys: set[tuple[str, str]] = set()
    types: set[str] = set()

    def walk(node: dict[str, Any], table: str) -> None:
        for key, value in node.items():
            keys.add((table, key))
            if key == "type":
                types.add(value)
            for each in value if isinstance(value, list) else [value]:
                if isinstance(each, dict) and key != "values":
                    walk(each, key)

    for path in FOLDER.rglob("*.toml"):
        walk(tomllib.loads(path.read_text(encoding="utf-8")), "")
    return keys, types


@pytest.mark.parametrize("path", READY, ids=lambda each: each.stem)
def test_a_ready_layout_has_no_mistake_and_says_that_it_is_invented(path: Path) -> None:
    """It loads, covers something, and its first line shows what it is."""
    assert check(path.read_bytes(), include=include) == ()
    assert 0 < coverage.covered_bytes(ready(path)) < ready(path).memory
    assert path.read_text(encoding="utf-8").startswith("# Invented, for the demo")


@pytest.mark.parametrize("path", READY, ids=lambda each: each.stem)
def test_a_ready_layout_decodes_any_memory(path: Path) -> None:
    """Blank, zero and random bytes: every field has a value or a mark."""
    layout = ready(path)
    maker = random.Random(1)
    for data in (b"\0", b"\xff", None):
        image = Image.of(maker.randbytes(layout.memory) if data is None else data * layout.memory)
        for found in decode(layout, image).fields:
            assert found.value is not None or found.mark is not None


def test_every_type_and_key_is_shown_in_a_ready_layout() -> None:
    """A word that none of them uses fails this: add it to an invented controller."""
    keys, types = used()
    assert types == set(TYPES)
    wanted = {
        (table, key) for table, kind in TABLES.items() for key in kind.__struct_encode_fields__
    }
    assert wanted - keys == set()
