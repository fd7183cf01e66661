"""An invented memory and layout for the tests of the command line."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from parambak.dumps.registry import write_dump
from parambak.memory.image import Image

if TYPE_CHECKING:
    from tests.cli.conftest import Ship

WHERE = ("--vessel", "grebe", "--unit", "port-thruster", "--position", "U12")
MEMORY = random.Random(7).randbytes(2048)
LAYOUT = b"""
[layout]
title = "invented, for the tests"
memory = 2048
byte-order = "big"

[[field]]
name = "level"
at = 0x0010
type = "u8"
low = 0
high = 255

[[field]]
name = "run_hours"
at = 0x0020
type = "u32"
running = true
"""


def dump(memory: bytes = MEMORY) -> bytes:
    return write_dump(Image.of(memory), "intel-hex")


def changed(at: int, memory: bytes = MEMORY) -> bytes:
    return memory[:at] + bytes([memory[at] ^ 0x01]) + memory[at + 1 :]


def archive_two(ship: Ship) -> None:
    ship.write("a.hex", dump())
    ship.write("b.hex", dump(), second=1)
    ship.write("layout.toml", LAYOUT)
    assert ship.run("archive", "a.hex", "b.hex", *WHERE, "--layout", "layout.toml").code == 0
