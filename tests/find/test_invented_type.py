"""A type that is added to the one list of types is searched for, and drafted."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

from parambak.find.draft import draft
from parambak.find.encodings import forms
from parambak.find.panel_values import parse
from parambak.find.search import search
from parambak.layouts import field_types
from parambak.layouts.field_types import Codec, FieldType, Storage, StoredValue, Value
from parambak.layouts.load import load
from parambak.memory.image import Image
from tests.layouts.test_invented_type import zigzag

if TYPE_CHECKING:
    import pytest


def third(stored: Storage) -> Codec:
    """Return the codec of an invented number of open length: thirds, rounded down."""

    def read(raw: bytes) -> StoredValue:
        return StoredValue(int.from_bytes(raw, stored.order) // 3)

    def write(value: Value) -> bytes | None:
        count = 3 * int(value)
        return count.to_bytes(stored.length, stored.order) if count < 1 << 16 else None

    return Codec(read, write)


def bounds(_: int) -> tuple[int, int]:
    """Return what the invented numbers can hold."""
    return -(1 << 15), (1 << 15) - 1


def add(monkeypatch: pytest.MonkeyPatch, *made: FieldType) -> None:
    """Add types to the list."""
    types = MappingProxyType({**field_types.TYPES, **{one.name: one for one in made}})
    monkeypatch.setattr(field_types, "TYPES", types)


def test_a_number_of_fixed_length_is_searched_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """With its own bytes, in both orders; and a float with the nearest that it can hold."""
    add(
        monkeypatch,
        FieldType("zigzag16", zigzag, length=2, bounds=bounds),
        FieldType("real16", zigzag, length=2),
    )
    (value,) = parse(b"a = -12.5 s", 1).panel_values
    found = {
        (way.type.name, way.order, str(way.scale)): form.needles[0]
        for form in forms(value)
        for way in form.interpretations
    }
    assert found["zigzag16", "big", "1/10"] == (2 * 125 - 1).to_bytes(2, "big")
    assert found["zigzag16", "little", "1/10"] == (2 * 125 - 1).to_bytes(2, "little")
    assert found["real16", "big", "1"] == (2 * 12 - 1).to_bytes(2, "big")


def test_what_is_found_is_drafted_with_its_length(monkeypatch: pytest.MonkeyPatch) -> None:
    """The draft gives the length of a type of open length, and then loads."""
    add(
        monkeypatch,
        FieldType(
            "third", third, longest=2, bounds=lambda _: (0, 1 << 14), lengths=(2,), share=0.5
        ),
    )
    values = [1234 + 567 * row for row in range(8)]
    text = "".join(f"p{row} = {number}\n" for row, number in enumerate(values))
    memory = bytes(64) + b"".join((3 * number).to_bytes(2, "big") for number in values) + bytes(64)
    result = search(parse(text.encode(), 1).panel_values, [Image.of(memory)])
    assert {one.candidates[0].interpretation.type.name for one in result.values} == {"third"}
    drafted = draft(result, ["A.BIN"])
    assert 'type = "third"\nlength = 2\n' in drafted
    load(drafted.encode())
