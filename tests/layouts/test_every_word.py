"""Every table, key and word of the language is in an example that is run.

What there is to show is taken from the model of a layout file itself, so that a key or
type that is added without its example fails here.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

import msgspec
from msgspec import inspect

from parambak.layouts import model
from parambak.layouts.check_methods import ALIASES, CRC_NAMES, METHODS
from parambak.layouts.field_types import TYPES, FieldType
from tests.layouts.test_worked_examples import examples

if TYPE_CHECKING:
    from collections.abc import Iterator

Said = tuple[str, str, object]
PLAINLY = set(METHODS) - {*CRC_NAMES, *ALIASES}


def parts_of(kind: inspect.Type) -> Iterator[inspect.Type]:
    """Yield a key's type, without metadata, and what lists and unions of it hold."""
    if isinstance(kind, inspect.Metadata):
        yield from parts_of(kind.type)
    elif isinstance(kind, inspect.UnionType):
        for each in kind.types:
            yield from parts_of(each)
    elif isinstance(kind, inspect.VarTupleType):
        yield from parts_of(kind.item_type)
    else:
        yield kind


def tables() -> dict[str, inspect.StructType]:
    """Return every table of the language by its name in the model."""
    found: dict[str, inspect.StructType] = {}
    waiting: list[inspect.Type] = [inspect.type_info(model.LayoutFile)]
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, inspect.StructType) and kind.cls.__name__ not in found:
            found[kind.cls.__name__] = kind
            waiting += [part for each in kind.fields for part in parts_of(each.type)]
    return found


def to_be_said() -> set[Said]:
    """Return each table with each of its keys, and each word and truth that a key takes."""
    wanted: set[Said] = set()
    for name, table in tables().items():
        for key in table.fields:
            wanted.add((name, key.encode_name, None))
            for kind in parts_of(key.type):
                if isinstance(kind, inspect.LiteralType):
                    wanted |= {(name, key.encode_name, word) for word in kind.values}
                if isinstance(kind, inspect.CustomType) and kind.cls is FieldType:
                    wanted |= {(name, key.encode_name, word) for word in TYPES}
                if isinstance(kind, inspect.BoolType):
                    wanted.add((name, key.encode_name, True))
    return wanted


def said(tree: dict[str, Any], table: inspect.StructType) -> Iterator[Said]:
    """Yield each key of a parsed layout, and its values, under its table."""
    keys = {each.encode_name: each for each in table.fields}
    for key, value in tree.items():
        yield table.cls.__name__, key, None
        values = value if isinstance(value, list) else [value]
        inner = [p for p in parts_of(keys[key].type) if isinstance(p, inspect.StructType)]
        for each in values:
            if inner:
                yield from said(each, tables()[inner[0].cls.__name__])
            elif isinstance(each, str | bool):
                yield table.cls.__name__, key, each


def trees() -> list[dict[str, Any]]:
    """Return every layout and included file of the examples, parsed."""
    texts = [text for each in examples() for text in (each.layout, *each.parts.values())]
    return [tomllib.loads(text.decode()) for text in texts]


def test_the_model_is_walked() -> None:
    """The tables, their keys and words are found."""
    assert set(tables()) == {
        "LayoutFile",
        "Head",
        "Field",
        "Group",
        "Check",
        "Reserved",
        "Mirrored",
    }
    wanted = to_be_said()
    assert ("Field", "type", "ffp32") in wanted
    assert ("Group", "group", None) in wanted
    assert ("Field", "running", True) in wanted
    assert ("Head", "normal", "seven-bit") in wanted
    assert len(wanted) > 150


def test_every_table_key_and_word_stands_in_an_example() -> None:
    """None is missing: types, encodings, paddings, parts and byte orders are words too."""
    top = tables()["LayoutFile"]
    shown = {each for tree in trees() for each in said(tree, top)}
    missing = sorted(map(str, to_be_said() - shown))
    assert not missing, "\n".join(missing)


def test_every_method_that_is_no_crc_stands_in_an_example() -> None:
    """And a CRC by its name, by an alias, and by parameters."""
    methods = {check["method"].lower() for tree in trees() for check in tree.get("check", ())}
    assert sorted(PLAINLY - methods) == []
    assert methods & set(CRC_NAMES)
    assert methods & set(ALIASES)


def test_every_type_of_several_bytes_stands_in_both_orders() -> None:
    """Each with the most and with the least significant byte first."""
    shown = set()
    for tree in trees():
        head = tree.get("layout", {}).get("byte-order")
        for field in tree.get("field", ()):
            length = field.get("length") or TYPES[field["type"]].length or 1
            if length > 1:
                shown.add((field["type"], field.get("byte-order", head)))
    wanted = {
        (name, order)
        for name, field_type in TYPES.items()
        for order in ("big", "little")
        if field_type.longest > 1 and field_type.ordered
    }
    assert sorted(wanted - shown) == []


def test_the_schema_has_the_keys_of_the_model() -> None:
    """What an editor completes is what the examples show."""
    made = model.schema()["$defs"]
    for name, table in tables().items():
        keys = {each.encode_name for each in table.fields}
        assert set(made[name]["properties"]) == keys
    assert msgspec.json.encode(made)
