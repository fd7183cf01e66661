"""A method of checks that is added to the one list is seen everywhere at once."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

import pytest

from parambak.layouts import check_methods
from parambak.layouts.check_methods import CheckMethod
from parambak.layouts.decode import decode
from parambak.layouts.load import check, load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from parambak.layouts.field_types import ByteOrder
    from parambak.layouts.model import Check

TEXT = b"""[layout]
title = "invented"
memory = 8
byte-order = "big"
[[check]]
name = "c"
method = "product-16"
over = [[0, 3]]
at = 4
"""


def product(check: Check, data: bytes, order: ByteOrder) -> int:
    """Return the product of the bytes, each one more than it is."""
    del check, order
    value = 1
    for byte in data:
        value *= byte + 1
    return value


@pytest.fixture(autouse=True)
def invented(monkeypatch: pytest.MonkeyPatch) -> None:
    """Add the method to the list."""
    made = CheckMethod("product-16", 16, product)
    methods = MappingProxyType({**check_methods.METHODS, made.name: made})
    monkeypatch.setattr(check_methods, "METHODS", methods)


def test_a_layout_may_write_it_and_it_is_worked_out() -> None:
    """Its width is its own, and what is above it is cut off."""
    assert check(TEXT) == ()
    layout = load(TEXT.replace(b"product-16", b"PRODUCT-16"))
    for data, stored in ((b"\x01\x02\x03\x04", 120), (b"\xff\xff\xff\x00", 1 << 24)):
        image = Image.of(data + (stored & 0xFFFF).to_bytes(2, "big") + bytes(2))
        (result,) = decode(layout, image).checks
        assert (result.holds, result.stored) == (True, f"{stored & 0xFFFF:04X}")


def test_its_keys_are_judged_by_its_record() -> None:
    """It takes no start value and no parameter, and is separate from its range."""
    lines = {"init = 1": "layout-check-parameters", "poly = 3": "layout-check-parameters"}
    for line, code in lines.items():
        assert [mistake.code for mistake in check(TEXT + line.encode())] == [code]
    inside = TEXT.replace(b"at = 4", b"at = 2")
    assert [mistake.code for mistake in check(inside)] == ["layout-check-over-itself"]


def test_a_wrong_name_is_answered_with_it() -> None:
    """The names in a message are the same list."""
    (mistake,) = check(TEXT.replace(b"product-16", b"product16"))
    assert mistake.next == "Did you mean `product-16`?"
