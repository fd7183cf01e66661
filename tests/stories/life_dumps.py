"""What the readers of a working life wrote: dumps of six units, a layout, card sheets."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.stories.conftest import Laptop

LAYOUT = """[layout]
title = "Thruster controller"
memory = 2048
byte-order = "big"

[[field]]
name = "serial_number"
at = 0x0000
type = "text"
length = 8

[[field]]
name = "ramp_up_time"
at = 0x0040
type = "u16"
scale = 0.1
unit = "s"

[[field]]
name = "run_hours"
at = 0x0700
type = "u32"
scale = 0.1
unit = "h"
running = true

[[check]]
name = "block sum"
method = "sum-16"
over = [[0x0000, 0x07FD]]
at = 0x07FE
"""
LATER_LAYOUT = LAYOUT + "running = true\n"
"""The unit calculates its block sum again when the hours run."""
CARD = '[card]\ntype = "TC-2"\nsoftware = "3.2"\n[links]\nJ1 = "1-2"\n'
UNIT = CARD + '[function-tests]\nrequired = ["emergency stop", "ramp up"]\n'
OTHER_CARD = CARD.replace("3.2", "3.3")
RULES = '[rules]\ntitle = "Technical instruction 3"\nsource = "an office"\nlayout = true\n'
WINCH, CRANE, STEERING, BOILER = (
    random.Random(seed).randbytes(size)
    for seed, size in ((11, 256), (12, 8192), (13, 8192), (14, 2048))
)


def thruster(serial: str, ramp: int, hours: int, seed: int) -> bytes:
    """Return a thruster's memory, with its stored sum."""
    memory = bytearray(b"\xff" * 2048)
    memory[0:8] = serial.encode().ljust(8)
    memory[0x10:0x14] = b"3.2\0"
    memory[0x40:0x44] = ramp.to_bytes(2, "big") + (1500).to_bytes(2, "big")
    memory[0x100:0x500] = random.Random(seed).randbytes(0x400)
    memory[0x700:0x704] = hours.to_bytes(4, "big")
    memory[0x7FE:] = (sum(memory[:0x7FE]) & 0xFFFF).to_bytes(2, "big")
    return bytes(memory)


def dumps(laptop: Laptop, memories: dict[str, bytes], numbers: str) -> None:
    """Write a dump of each memory for each number; `#` in a name stands for the number."""
    kinds = {"HEX": "intel-hex", "S19": "s-record", "BIN": "raw"}
    for number in numbers:
        for name, memory in memories.items():
            laptop.dump(name.replace("#", number), memory, kinds[name[-3:]])


def first_visit(laptop: Laptop) -> None:
    """Write what is read at the first visit, and a manual that is no dump."""
    laptop.write("thruster.toml", LAYOUT)
    laptop.write("rules.toml", RULES)
    laptop.write("MANUAL.BIN", b"%PDF-1.7\n" + b"x" * 4000)
    memories = {
        "PORT#.HEX": thruster("TC-0417", 125, 50000, 1),
        "STBD#.HEX": thruster("TC-0418", 140, 50000, 2),
        "SPARE#.HEX": thruster("TC-0999", 200, 10, 9),
        "WINCH#.BIN": WINCH,
        "CRANE#.S19": CRANE,
        "EVEN#.BIN": STEERING[0::2],
        "ODD#.BIN": STEERING[1::2],
        "BOILER#.S19": BOILER,
    }
    dumps(laptop, memories, "123")


def second_visit(laptop: Laptop) -> None:
    """Write what is read at the second visit, and off the cards that were loaded."""
    laptop.write("thruster-b.toml", LATER_LAYOUT)
    for name, sheet in (("unit", UNIT), ("spare", CARD), ("spare33", OTHER_CARD)):
        laptop.write(f"{name}.toml", sheet)
    port, stbd = thruster("TC-0417", 90, 61000, 1), thruster("TC-0418", 140, 58000, 2)
    wrong = bytearray(stbd)
    wrong[0x200] ^= 4
    dumps(laptop, {"PORT#.HEX": port, "STBD#.HEX": stbd}, "45")
    back = {
        "BACK#.HEX": port,
        "AFTER#.HEX": thruster("TC-0417", 90, 61003, 1),
        "SBAD#.HEX": bytes(wrong),
        "SBACK#.HEX": stbd,
        "BB#.S19": BOILER,
        "BA#.S19": BOILER,
    }
    dumps(laptop, back, "12")
    later = {"BACK#.HEX": port, "AFTER#.HEX": thruster("TC-0417", 90, 61004, 1)}
    dumps(laptop, later, "34")
