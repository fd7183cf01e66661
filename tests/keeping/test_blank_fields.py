"""A run of FF where the layout has fields speaks against a read; blank table rows do not."""

from __future__ import annotations

import random

import pytest

from parambak.keeping.assess import blank_runs
from parambak.layouts.load import load
from parambak.memory.image import Image

FIELDS = "".join(
    f'[[field]]\nname = "f{number}"\nat = {number * 4}\ntype = "u32"\n' for number in range(16)
)
LAYOUT = load(
    f"""
[layout]
title = "invented"
memory = 256
byte-order = "big"
{FIELDS}
[[group]]
name = "row"
at = 0x80
count = 16
row-size = 8
  [[group.field]]
  name = "a"
  at = 0
  type = "u32"
  [[group.field]]
  name = "b"
  at = 4
  type = "u32"
""".encode()
)


def memory(seed: int) -> bytearray:
    chance = random.Random(seed)
    return bytearray(chance.randrange(255) for _ in range(256))


def test_a_lost_stretch_is_told_with_its_fields_and_addresses() -> None:
    """Five fields that read FF throughout."""
    lost = memory(1)
    lost[0x10:0x24] = b"\xff" * 20
    ((finding, subject),) = blank_runs(LAYOUT, Image.of(bytes(lost)))
    assert finding.code == "read-blank-fields"
    assert "5 fields" in finding.text
    assert "0x0010-0x0023" in finding.text
    assert subject == "f4 f8"


def test_blank_rows_and_a_few_blank_fields_are_ordinary() -> None:
    """Unused channels, and two fields that were never set."""
    usual = memory(2)
    usual[0x90:0x100] = b"\xff" * 0x70
    usual[0x10:0x18] = b"\xff" * 8
    assert blank_runs(LAYOUT, Image.of(bytes(usual))) == ()


@pytest.mark.parametrize(
    ("lengths", "told"),
    [((4, 4, 8), True), ((4, 4, 7), False), ((1,) * 15, False), ((8, 8), False), ((16,), False)],
)
def test_a_lost_stretch_is_three_fields_and_sixteen_bytes(
    lengths: tuple[int, ...], told: bool
) -> None:
    """Many small fields, or one or two long ones, may be blank by themselves."""
    fields, at = "", 0
    for length in (*lengths, 4):
        fields += f'[[field]]\nname = "f{at}"\nat = {at}\ntype = "bytes"\nlength = {length}\n'
        at += length
    layout = load(f'[layout]\ntitle = "t"\nmemory = {at}\nbyte-order = "big"\n{fields}'.encode())
    blank = Image.of(b"\xff" * (at - 4) + bytes(4))
    assert bool(blank_runs(layout, blank)) is told


def test_no_false_alarm_on_ordinary_memories() -> None:
    """None on 2,000."""
    assert not any(blank_runs(LAYOUT, Image.of(bytes(memory(seed)))) for seed in range(2000))
