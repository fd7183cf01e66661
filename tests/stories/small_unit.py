"""An invented unit with a small memory, for stories that need a layout of their own."""

from __future__ import annotations

import random

MEMORY = 256
OLD_LAYOUT = """
[layout]
title = "Winch controller, software 3"
memory = 256
byte-order = "big"

[[field]]
name = "ramp_up_time"
at = 0x10
type = "u16"
scale = 0.1
unit = "s"

[[check]]
name = "block sum"
method = "sum-16"
over = [[0x40, 0x7F]]
at = 0x80
"""
NEW_LAYOUT = OLD_LAYOUT.replace("software 3", "software 4").replace("ramp_up_time", "start_ramp")


def memory(seed: int = 1, ramp: int = 150) -> bytes:
    """Return the memory of a unit; the ramp in tenths of a second, the check right."""
    data = bytearray(random.Random(seed).randbytes(MEMORY))
    data[0x10:0x12] = ramp.to_bytes(2, "big")
    data[0x80:0x82] = (sum(data[0x40:0x80]) & 0xFFFF).to_bytes(2, "big")
    return bytes(data)
