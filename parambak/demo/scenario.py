"""The invented scenario, step by step: scenes, files to write, and command lines to run.

Two sister harbour tugs, their thruster and towing-winch controllers, four visits, and three
swaps: one loaded wrongly, one refused, one done well. Pure: `cli/commands/demo.py` writes and
runs what is yielded here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.demo import tugs
from parambak.demo.build import memory_of
from parambak.demo.second_year import UNMAPPED_AT, second_year
from parambak.demo.steps import PERSON, Call, File, Scene, archive, dump, moment
from parambak.demo.swaps import SISTER, sister, starboard, three_swaps
from parambak.layouts.load import load

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.layouts.model import Layout

PORT = ("grebe", "port-thruster", "U12")
THRUSTER_CHIP = ("--layout", "thruster.toml", "--chip", "28C16")


def scenario(layouts: Mapping[str, bytes], limits: bytes) -> Iterator[Scene | File | Call]:
    """Yield the whole story.

    `layouts` holds the shipped layouts by file name, `limits` those of the thruster.
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


def _first_visit(thruster: Layout, winch: Layout) -> Iterator[Scene | File | Call]:
    yield from _port_thruster(thruster)
    yield Scene(
        "Three more chips are archived from Intel HEX, S-record and raw files.",
        "Two are verified. The sister tug's chip was read only once.",
    )
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
        "The towing winch. This reader writes S-records.",
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
    yield Scene(
        "A layout gives the bytes their names, values and units of measure.",
        "ramp_up_time is 12.5 s, overload_current is 340 A, and the stored check holds.",
    )
    yield Call("What do the bytes mean?", ("decode", "grebe/port-thruster/U12"))


def _port_thruster(thruster: Layout) -> Iterator[Scene | File | Call]:
    yield Scene(
        "One read of the port thruster's chip is archived, then the same file again.",
        "NOT VERIFIED: the same file again is not a second read.",
        chapter="First visit, March 2025",
    )
    port = bytes(memory_of(thruster, tugs.thruster()))
    yield dump("PORT1.HEX", port, "2025-03-10 09:41")
    yield dump("PORT2.HEX", port, "2025-03-10 09:52")
    yield Call("What did the reader write?", ("inspect", "PORT1.HEX"))
    day = "2025-03-10"
    yield archive(
        "Keep the first read of the port thruster's chip. One read is never enough.",
        ("PORT1.HEX",),
        PORT,
        *THRUSTER_CHIP,
        day=day,
    )
    yield archive("The same file again is not a second read.", ("PORT1.HEX",), PORT, day=day)
    yield Scene(
        "The chip is reseated and read again.",
        "VERIFIED: two reads made separately hold the same bytes.",
    )
    yield archive("The chip, reseated and read again.", ("PORT2.HEX",), PORT, day=day)


def _changed(layout: Layout) -> bytes:
    """Return the port thruster a year later: a set-point, a counter and a byte are changed."""
    memory = memory_of(layout, tugs.thruster(ramp_up_time="9.0", run_hours="9377.4"))
    memory[UNMAPPED_AT] = 0x3C
    return bytes(memory)


def _next_visit(thruster: Layout) -> Iterator[Scene | File | Call]:
    where = ("--unit", "port-thruster", "--position", "U12", "--read-on", "2026-03-12")
    yield Scene(
        "By mistake, the starboard chip's file is given for the port thruster.",
        "REFUSED: the serial number in the file is that of another unit.",
        chapter="Second visit, March 2026",
    )
    yield Call(
        "A year later. An open visit remembers vessel and person.",
        ("visit", "open", "grebe", "--by", PERSON, "--on", "2026-03-12"),
    )
    yield dump("STBD3.HEX", starboard(thruster), "2026-03-12 08:50")
    yield Call(
        "The starboard chip, given for port by mistake. It is refused.",
        ("archive", "STBD3.HEX", *where),
        exit_code=2,
    )
    yield Scene(
        "The port chip is read twice, and compared with the first visit.",
        "ramp_up_time changed from 12.5 to 9.0 s. Byte 0x0740 needs an explanation.",
    )
    yield dump("PORT3.HEX", _changed(thruster), "2026-03-12 09:10")
    yield dump("PORT4.HEX", _changed(thruster), "2026-03-12 09:24")
    yield Call("The correct chip, read twice.", ("archive", "PORT3.HEX", "PORT4.HEX", *where))
    yield Call(
        "What changed since the last visit?",
        ("diff", "grebe/port-thruster/U12@previous", "grebe/port-thruster/U12@latest"),
        exit_code=1,
    )
    yield Call("The visit is over.", ("visit", "close"))


def _end() -> Iterator[Scene | Call]:
    yield Scene(
        "Every byte in the vault is checked again.",
        "All is unchanged. One copy is not in a backup location yet: send it.",
        chapter="At the end",
    )
    yield Call("Is every byte in the vault unchanged?", ("recheck",))
    yield Call("What is in the vault, and what is missing?", ("catalogue",))
    yield Call("What must be done next?", ("due",))
    yield Call(
        "The seal, to write into the report. It shows later if records were removed.",
        ("seal",),
    )
