"""Fields decoded by a layout against the construct library, on random images."""

from __future__ import annotations

import math
import random
from decimal import Decimal
from fractions import Fraction
from typing import Any

import construct

from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image

IMAGES = 2000
SIZE = 96
INTEGERS = {f"{sign}{bits}": bits // 8 for sign in "us" for bits in (8, 16, 24, 32, 40, 48, 56, 64)}
FLOATS = {"f16": 2, "f32": 4, "f64": 8}


def peer_of(kind: str, order: str) -> Any:
    """Return the construct that reads the same type in the same byte order."""
    if kind in FLOATS:
        letter = "b" if order == "big" else "l"
        return getattr(construct, f"Float{8 * FLOATS[kind]}{letter}")
    swapped = order == "little"
    return construct.BytesInteger(INTEGERS[kind], signed=kind[0] == "s", swapped=swapped)


def random_fields(maker: random.Random) -> list[tuple[str, str, int]]:
    """Return fields that follow each other: type, byte order, address."""
    sizes = INTEGERS | FLOATS
    made, at = [], 0
    while at < SIZE - 8:
        kind = maker.choice(list(sizes))
        made.append((kind, maker.choice(("big", "little")), at))
        at += sizes[kind]
    return made


def test_numbers_on_random_images() -> None:
    """Every whole number from 8 to 64 bits and every IEEE float agrees, digit for digit."""
    maker = random.Random(21)
    known = random_fields(maker)
    assert {kind for kind, _, _ in known} >= {"u24", "f32"}
    text = f'[layout]\ntitle = "T"\nmemory = {SIZE}\n' + "".join(
        f'[[field]]\nname = "f{at}"\nat = {at}\ntype = "{kind}"\nbyte-order = "{order}"\n'
        for kind, order, at in known
    )
    layout = load(text.encode())
    peer = construct.Struct(*(f"f{at}" / peer_of(kind, order) for kind, order, at in known))
    for _ in range(IMAGES):
        data = maker.randbytes(SIZE)
        wanted = peer.parse(data)
        for found in decode(layout, Image.of(data)).fields:
            value = wanted[found.field]
            if isinstance(value, float) and not math.isfinite(value):
                assert found.value is None
            else:
                assert found.value is not None
                assert Decimal(found.value) == Decimal(value)


def test_flags_and_bits_on_random_images() -> None:
    """Bits of every width at every place of two shared bytes agree with a bit structure."""
    maker = random.Random(22)
    for _ in range(100):
        widths: list[int] = []
        while sum(widths) < 16:
            widths.append(maker.randint(1, 16 - sum(widths)))
        tops = [16 - sum(widths[: index + 1]) for index in range(len(widths))]
        text = '[layout]\ntitle = "T"\nmemory = 2\nbyte-order = "big"\n' + "".join(
            f'[[field]]\nname = "b{low}"\nat = 0\nlength = 2\ntype = "bits"\n'
            f"bit = {low}\nwidth = {width}\n"
            for low, width in zip(tops, widths, strict=True)
        )
        layout = load(text.encode())
        peer = construct.BitStruct(
            *(
                f"b{low}" / construct.BitsInteger(width)
                for low, width in zip(tops, widths, strict=True)
            )
        )
        for _ in range(20):
            data = maker.randbytes(2)
            wanted = peer.parse(data)
            for found in decode(layout, Image.of(data)).fields:
                assert found.value == str(wanted[found.field])


def test_scaled_and_named_values_on_random_images() -> None:
    """Scaling, limits and names agree with construct's adapters in Decimal and Enum."""
    maker = random.Random(23)
    layout = load(
        b'[layout]\ntitle = "T"\nmemory = 5\nbyte-order = "little"\n'
        b'[[field]]\nname = "t"\nat = 0\ntype = "s16"\nscale = 0.05\noffset = -3\nlow = -900.25\n'
        b'high = 700.1\n[[field]]\nname = "m"\nat = 2\ntype = "u8"\n'
        b'values = { 1 = "local", 2 = "bridge" }\n'
        b'[[field]]\nname = "p"\nat = 3\ntype = "u16"\ncurve = [[819, 0.0], [4095, 10.0]]\n'
        b"low = 1.5\nhigh = 150.5\n"
    )
    peer = construct.Struct(
        "t" / construct.Int16sl,
        "m" / construct.Enum(construct.Int8ul, local=1, bridge=2),
        "p" / construct.Int16ul,
    )
    for _ in range(IMAGES):
        data = maker.randbytes(2) + bytes([maker.randrange(4)]) + maker.randbytes(2)
        wanted = peer.parse(data)
        heat, mode, pressure = decode(layout, Image.of(data)).fields
        value = wanted.t * Decimal("0.05") - 3
        assert heat.value == f"{value:.2f}"
        assert heat.within_limits is (Decimal("-900.25") <= value <= Decimal("700.1"))
        assert mode.value == str(wanted.m)
        exact = Fraction(10 * (wanted.p - 819), 3276)
        assert pressure.value is not None
        assert abs(Fraction(pressure.value) - exact) <= Fraction(1, 2000)
        assert pressure.within_limits is (Fraction(3, 2) <= exact <= Fraction(301, 2))
