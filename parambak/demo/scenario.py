"""The invented scenario, step by step: files to write, and command lines to run.

Two sister harbour tugs, their thruster and towing-winch controllers, two
visits a year apart, and three swaps: one loaded wrongly, one refused, one done well. Pure:
`cli/demo.py` writes and runs what is yielded here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.demo import tugs
from parambak.demo.build import memory_of
from parambak.demo.second_year import UNMAPPED_AT, second_year
from parambak.demo.steps import PERSON, Call, File, archive, dump, moment
from parambak.demo.swaps import SISTER, sister, starboard, three_swaps
from parambak.layouts.load import load

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.layouts.model import Layout

PORT = ("grebe", "port-thruster", "U12")
THRUSTER_CHIP = ("--layout", "thruster.toml", "--chip", "28C16")


def scenario(layouts: Mapping[str, bytes], limits: bytes) -> Iterator[File | Call]:
    """Yield the whole story; `layouts` holds the shipped layouts by file name.

    `limits` are those shipped for the thruster.
    """
    thruster = load(layouts["thruster.toml"], name="thruster.toml")
    winch = load(layouts["towing-winch.toml"], name="towing-winch.toml")
    for name, data in layouts.items():
        yield File(name, data, moment("2025-03-01 12:00"))
    yield from _first_visit(thruster, winch)
    yield from _next_visit(thruster)
    yield from second_year(thruster, winch)
    yield from three_swaps(thruster, limits)
    yield from _end()


def _first_visit(thruster: Layout, winch: Layout) -> Iterator[File | Call]:
    yield from _port_thruster(thruster)
    day = "2025-03-10"
    yield dump("STBD1.HEX", starboard(thruster), "2025-03-10 10:20")
    yield dump("STBD2.HEX", starboard(thruster), "2025-03-10 10:31")
    yield archive(
        "The starboard thruster, both reads at once.",
        ("STBD1.HEX", "STBD2.HEX"),
        ("grebe", "stbd-thruster", "U12"),
        *THRUSTER_CHIP,
        day=day,
    )
    memory = bytes(memory_of(winch, tugs.winch()))
    yield dump("WINCH1.S19", memory, "2025-03-10 13:05")
    yield dump("WINCH2.S19", memory, "2025-03-10 13:17")
    yield archive(
        "The towing winch; this reader writes S-records.",
        ("WINCH1.S19", "WINCH2.S19"),
        ("grebe", "towing-winch", "U3"),
        *("--layout", "towing-winch.toml"),
        day=day,
    )
    yield dump("AVOCET1.BIN", bytes(sister(thruster)), "2025-03-11 08:30")
    yield archive(
        "The sister tug's thruster, a raw file, read once in a hurry.",
        ("AVOCET1.BIN",),
        SISTER,
        *THRUSTER_CHIP,
        day="2025-03-11",
    )
    yield Call("What do the bytes mean?", ("decode", "grebe/port-thruster/U12"))


def _port_thruster(thruster: Layout) -> Iterator[File | Call]:
    port = bytes(memory_of(thruster, tugs.thruster()))
    yield dump("PORT1.HEX", port, "2025-03-10 09:41")
    yield dump("PORT2.HEX", port, "2025-03-10 09:52")
    yield Call("What did the reader write?", ("inspect", "PORT1.HEX"))
    day = "2025-03-10"
    yield archive(
        "Keep it: the first read of the port thruster's chip. One read is never enough.",
        ("PORT1.HEX",),
        PORT,
        *THRUSTER_CHIP,
        day=day,
    )
    yield archive("The same file once more is no second read.", ("PORT1.HEX",), PORT, day=day)
    yield archive("The chip reseated and read again.", ("PORT2.HEX",), PORT, day=day)


def _changed(layout: Layout) -> bytes:
    """Return the port thruster a year on: a set-point, a counter, and a byte nobody explains."""
    memory = memory_of(layout, tugs.thruster(ramp_up_time="9.0", run_hours="9377.4"))
    memory[UNMAPPED_AT] = 0x3C
    return bytes(memory)


def _next_visit(thruster: Layout) -> Iterator[File | Call]:
    where = ("--unit", "port-thruster", "--position", "U12", "--read-on", "2026-03-12")
    yield Call(
        "A year later. An open visit remembers vessel and person.",
        ("visit", "open", "grebe", "--by", PERSON, "--on", "2026-03-12"),
    )
    yield dump("STBD3.HEX", starboard(thruster), "2026-03-12 08:50")
    yield Call(
        "The starboard chip, filed under port by mistake: stopped.",
        ("archive", "STBD3.HEX", *where),
        exit_code=2,
    )
    yield dump("PORT3.HEX", _changed(thruster), "2026-03-12 09:10")
    yield dump("PORT4.HEX", _changed(thruster), "2026-03-12 09:24")
    yield Call("The right one, read twice.", ("archive", "PORT3.HEX", "PORT4.HEX", *where))
    yield Call(
        "What changed since last time?",
        ("diff", "grebe/port-thruster/U12@previous", "grebe/port-thruster/U12@latest"),
        exit_code=1,
    )
    yield Call("The visit is over.", ("visit", "close"))


def _end() -> Iterator[Call]:
    yield Call("Is everything in the vault still sound?", ("recheck",))
    yield Call("What is there, and what is wanting?", ("catalogue",))
    yield Call("What is to be done next?", ("due",))
    yield Call(
        "The line to write into the report: it finds a history that was cut back.",
        ("seal",),
    )
