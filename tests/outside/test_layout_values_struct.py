"""Fields decoded by a layout against Python's `struct` and `decimal`, on random images."""

from __future__ import annotations

import random
import struct
from decimal import Decimal, localcontext

from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image

LETTERS = {
    "u8": "B", "u16": "H", "u32": "I", "u64": "Q", "s8": "b", "s16": "h", "s32": "i", "s64": "q",
    "f16": "e", "f32": "f", "f64": "d",
}  # fmt: skip
IMAGES = 2000


def fields(maker: random.Random, size: int) -> list[tuple[str, str, int]]:
    """Return random fields that fill `size` bytes: type, byte order, address."""
    made = []
    at = 0
    while at < size - 8:
        kind = maker.choice(list(LETTERS))
        made.append((kind, maker.choice(("big", "little")), at))
        at += struct.calcsize(LETTERS[kind])
    return made


def test_struct_on_random_images() -> None:
    """Whole numbers and floats of either byte order agree with struct, digit for digit."""
    maker = random.Random(11)
    known = fields(maker, 128)
    text = '[layout]\ntitle = "T"\nmemory = 128\n' + "".join(
        f'[[field]]\nname = "f{at}"\nat = {at}\ntype = "{kind}"\nbyte-order = "{order}"\n'
        for kind, order, at in known
    )
    layout = load(text.encode())
    for _ in range(IMAGES):
        data = maker.randbytes(128)
        for found, (kind, order, at) in zip(
            decode(layout, Image.of(data)).fields, known, strict=True
        ):
            mark = ">" if order == "big" else "<"
            value = struct.unpack_from(mark + LETTERS[kind], data, at)[0]
            if value != value or value in {float("inf"), float("-inf")}:  # noqa: PLR0124 - NaN
                assert found.value is None
                assert found.mark in {"not a number", "infinite"}
            else:
                assert found.value is not None
                assert Decimal(found.value) == Decimal(value)


def test_decimal_scaling_on_random_images() -> None:
    """raw * scale + offset agrees with Python's decimal, in value and in digits shown."""
    maker = random.Random(12)
    known = [
        (index * 2, Decimal(maker.randint(-9999, 9999) or 1).scaleb(-maker.randint(0, 5)),
         Decimal(maker.randint(-999, 999)).scaleb(-maker.randint(0, 3)))
        for index in range(64)
    ]  # fmt: skip
    text = '[layout]\ntitle = "T"\nmemory = 128\nbyte-order = "big"\n' + "".join(
        f'[[field]]\nname = "f{at}"\nat = {at}\ntype = "s16"\n'
        f"scale = {scale:f}\noffset = {offset:f}\n"
        for at, scale, offset in known
    )
    layout = load(text.encode())
    with localcontext() as context:
        context.prec = 60
        for _ in range(200):
            data = maker.randbytes(128)
            found = decode(layout, Image.of(data)).fields
            for each, (at, scale, offset) in zip(found, known, strict=True):
                raw = int.from_bytes(data[at : at + 2], "big", signed=True)
                wanted = raw * scale + offset
                assert each.value is not None
                assert Decimal(each.value) == wanted
                assert each.value == f"{wanted:f}" or wanted == 0
