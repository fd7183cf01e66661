"""The second year of the invented scenario: every kind of change, by its name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.demo import tugs
from parambak.demo.build import memory_of
from parambak.demo.steps import PERSON, Call, File, Scene, dump
from parambak.demo.swaps import starboard
from parambak.memory.relations import swapped

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.layouts.model import Layout

UNMAPPED_AT = 0x0740
FADING_AT = 0x1A20  # in no field of the winch, and under none of its checks
PORT = ("--unit", "port-thruster", "--position", "U12")
WINCH = ("--unit", "towing-winch", "--position", "U3")


def second_year(thruster: Layout, winch: Layout) -> Iterator[Scene | File | Call]:
    """Yield two visits, and what they show."""
    yield from _summer(thruster, winch)
    yield from _autumn(thruster, winch)
    yield Call(
        "Every value at every visit: a ramp that alternates, counters, a remark.",
        ("history", "grebe/port-thruster/U12"),
    )
    yield Call("The winch has a cell that fades.", ("history", "grebe/towing-winch/U3"))
    yield Scene(
        "The reader was set wrongly: it swapped the two bytes of every word.",
        "The comparison shows the cause, not a thousand changed bytes.",
    )
    yield dump("SWAPPED.BIN", swapped(starboard(thruster), 2), "2026-11-02 15:00")
    yield Call(
        "The reader was set wrongly. The comparison shows the cause.",
        ("diff", "grebe/stbd-thruster/U12", "SWAPPED.BIN"),
        exit_code=1,
    )
    yield Scene(
        "The three thrusters are compared with each other.",
        "The starboard thruster differs most. The visit has its page: visit.html.",
    )
    yield Call("Which unit differs from the others?", ("compare-units",))
    yield Call("The page of the visit.", ("report", "visit", "grebe", "--out", "visit.html"))


def port(thruster: Layout, **changed: str) -> bytes:
    """Return the port thruster's memory with the changed byte that no field explains."""
    memory = memory_of(thruster, tugs.thruster(**changed))
    memory[UNMAPPED_AT] = 0x3C
    return bytes(memory)


def _winch(winch: Layout, cell: int, hours: str) -> bytes:
    memory = memory_of(winch, tugs.winch(rope_hours=hours))
    memory[FADING_AT] = cell
    return bytes(memory)


def _visit(day: str) -> Call:
    words = ("visit", "open", "grebe", "--by", PERSON, "--on", day)
    return Call(f"A visit on {day}.", words)


def _summer(thruster: Layout, winch: Layout) -> Iterator[Scene | File | Call]:
    yield Scene(
        "In July, port thruster and winch are read again. A remark explains a change.",
        "full_speed is lower. The reason is on record with the visit.",
        chapter="More visits, July and November 2026",
    )
    day = "2026-07-01"
    yield _visit(day)
    memory = port(thruster, full_speed="1480", pitch_feedback_low="4.02", run_hours="9801.6")
    yield dump("PORT5.HEX", memory, f"{day} 09:10")
    yield dump("PORT6.HEX", memory, f"{day} 09:25")
    yield Call("The port thruster.", ("archive", "PORT5.HEX", "PORT6.HEX", *PORT, "--read-on", day))
    drum = _winch(winch, 0xFB, "1402.5")
    yield dump("WINCH3.S19", drum, f"{day} 11:05")
    yield dump("WINCH4.S19", drum, f"{day} 11:15")
    yield Call("The winch.", ("archive", "WINCH3.S19", "WINCH4.S19", *WINCH, "--read-on", day))
    yield Call(
        "What changed? The reason is kept with the visit.",
        (
            "diff",
            "grebe/port-thruster/U12@previous",
            "grebe/port-thruster/U12",
            "--remark",
            "full speed lowered after the propeller was repaired; the master is informed",
            "--by",
            PERSON,
        ),
        exit_code=1,
    )
    yield Call("What was read, and what was not read?", ("visit", "close"))


def _autumn(thruster: Layout, winch: Layout) -> Iterator[Scene | File | Call]:
    yield Scene(
        "After the visit in November, the history shows each value at each visit.",
        "ramp_up_time alternates. A cell at 0x1A20 in the winch's chip may be fading.",
    )
    day = "2026-11-02"
    yield _visit(day)
    memory = port(
        thruster,
        ramp_up_time="9.0",
        full_speed="1480",
        pitch_feedback_low="4.02",
        run_hours="10188.0",
    )
    yield dump("PORT7.HEX", memory, f"{day} 10:40")
    yield dump("PORT8.HEX", memory, f"{day} 10:52")
    yield Call("The port thruster.", ("archive", "PORT7.HEX", "PORT8.HEX", *PORT, "--read-on", day))
    drum = _winch(winch, 0xF3, "1553.0")
    yield dump("WINCH5.S19", drum, f"{day} 13:05")
    yield dump("WINCH6.S19", drum, f"{day} 13:20")
    yield Call("The winch.", ("archive", "WINCH5.S19", "WINCH6.S19", *WINCH, "--read-on", day))
    yield Call(
        "The visit is over.",
        ("visit", "close", "--remark", "starboard side not opened: cargo in the way"),
    )
