"""A type that is added to the one list of types is seen everywhere at once."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import pytest

from parambak.layouts import field_types
from parambak.layouts.decode import decode
from parambak.layouts.field_types import Codec, FieldType, StoredValue
from parambak.layouts.load import check, load
from parambak.layouts.model import schema
from parambak.memory.image import Image

if TYPE_CHECKING:
    from parambak.layouts.field_types import Storage, Value

HEAD = (
    b'[layout]\ntitle = "invented"\nmemory = 8\nbyte-order = "big"\n[[field]]\nname = "a"\nat = 0\n'
)


def zigzag(stored: Storage) -> Codec:
    """Return the codec of an invented number: 0, -1, 1, -2 … counted from 0."""

    def read(raw: bytes) -> StoredValue:
        count = int.from_bytes(raw, stored.order)
        return StoredValue(count // 2 if count % 2 == 0 else -(count + 1) // 2)

    def write(value: Value) -> bytes | None:
        number = int(value)
        count = 2 * number if number >= 0 else -2 * number - 1
        return count.to_bytes(stored.length, stored.order) if count < 1 << 16 else None

    return Codec(read, write)


@pytest.fixture(autouse=True)
def invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Add the type to the list."""
    made = FieldType("zigzag16", zigzag, length=2, bounds=lambda _: (-(1 << 15), (1 << 15) - 1))
    types = MappingProxyType({**field_types.TYPES, made.name: made})
    monkeypatch.setattr(field_types, "TYPES", types)


def field(*lines: str, kind: str = "zigzag16") -> bytes:
    """Return a layout with one field of the type and these keys."""
    return HEAD + "\n".join([f'type = "{kind}"', *lines, ""]).encode()


def test_a_layout_may_write_it() -> None:
    """And an editor offers it."""
    assert check(field()) == ()
    assert load(field()).fields[0].type.name == "zigzag16"
    offered: dict[str, Any] = schema()["$defs"]["Field"]["properties"]["type"]
    assert "zigzag16" in offered["enum"]


def test_it_is_decoded_scaled_and_held_to_its_limits() -> None:
    """Every key of a whole number goes with it; its length and order are its own."""
    layout = load(field("scale = 0.5", "decimals = 1", "low = -1", "high = 1"))
    values = [
        (found.value, found.within_limits)
        for raw in (1, 2, 3, 6)
        for found in decode(layout, Image.of(raw.to_bytes(2, "big") + bytes(6))).fields
    ]
    assert values == [("-0.5", True), ("0.5", True), ("-1.0", True), ("1.5", False)]
    named = load(field('values = { -1 = "off", 1 = "on" }'))
    (found,) = decode(named, Image.of(b"\x00\x01" + bytes(6))).fields
    assert found.value == "off"


def test_what_it_cannot_hold_is_a_mistake() -> None:
    """Its bounds, its length and the keys of other types are judged by its record."""
    codes = {
        'values = { 40000 = "too high" }': "layout-values",
        "length = 3": "layout-length",
        'encoding = "ascii"': "layout-not-for-type",
        "bit = 1": "layout-not-for-type",
    }
    for line, code in codes.items():
        assert [mistake.code for mistake in check(field(line))] == [code]
    without_order = field().replace(b'byte-order = "big"\n', b"")
    assert [mistake.code for mistake in check(without_order)] == ["layout-byte-order"]


def test_a_wrong_word_is_answered_with_it() -> None:
    """The list of types in a message is the same list."""
    (mistake,) = check(field(kind="zigzag"))
    assert mistake.code == "layout-unknown-word"
    assert mistake.expected is not None
    assert mistake.expected.endswith("zigzag16")
    assert mistake.next == "Did you mean `zigzag16`?"
