"""The invented scenario, step by step: files to write, and command lines to run.

Two sister harbour tugs, their thruster and towing-winch controllers, two
visits a year apart, one swap done well and one card loaded wrongly. Pure:
`cli/demo.py` writes and runs what is yielded here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from parambak.demo import tugs
from parambak.demo.build import memory_of
from parambak.dumps.dump import Style
from parambak.dumps.registry import write_dump
from parambak.layouts.load import load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.layouts.model import Layout

UNEXPLAINED_AT = 0x0740
WRONG_BIT_AT = 0x0041
PERSON = "A. Fitter"
PORT = ("grebe", "port-thruster", "U12")
SISTER = ("avocet", "port-thruster", "U12")
THRUSTER_CHIP = ("--layout", "thruster.toml", "--chip", "28C16")


@dataclass(frozen=True, slots=True)
class File:
    """A file as the reader, or the user, left it; `modified` is its time in seconds, UTC."""

    name: str
    data: bytes
    modified: float


@dataclass(frozen=True, slots=True)
class Call:
    """A command as a user types it, why, and the exit code it has in this story."""

    why: str
    words: tuple[str, ...]
    exit_code: int = 0


def scenario(layouts: Mapping[str, bytes]) -> Iterator[File | Call]:
    """Yield the whole story; `layouts` holds the shipped layouts by file name."""
    thruster = load(layouts["thruster.toml"], name="thruster.toml")
    winch = load(layouts["towing-winch.toml"], name="towing-winch.toml")
    for name, data in layouts.items():
        yield File(name, data, _moment("2025-03-01 12:00"))
    yield from _first_visit(thruster, winch)
    yield from _next_visit(thruster)
    yield from _swap(thruster)
    yield from _end()


def _moment(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def _dump(name: str, memory: bytes, when: str) -> File:
    """Return a dump file as a reader writes it, in the format that its name says."""
    suffix = name.rpartition(".")[2]
    kind = {"HEX": "intel-hex", "S19": "s-record", "BIN": "raw"}[suffix]
    style = Style(line_end=b"\r\n", header=b"reader" if kind == "s-record" else b"")
    return File(name, write_dump(Image.of(bytes(memory)), kind, style), _moment(when))


def _archive(
    why: str, dumps: tuple[str, ...], at: tuple[str, str, str], *more: str, day: str
) -> Call:
    """Return the call that puts dumps on record for vessel, unit and position."""
    vessel, unit, position = at
    where = ("--vessel", vessel, "--unit", unit, "--position", position)
    known = ("--read-by", PERSON, "--read-on", day)
    return Call(why, ("archive", *dumps, *where, *more, *known))


def _starboard(layout: Layout) -> bytes:
    values = tugs.thruster(
        controller_serial="TC2-0418",
        station="stern",
        node_address="8",
        ramp_up_time="14.0",
        overload_current="325",
        run_hours="8390.2",
        start_count="2298",
    )
    return bytes(memory_of(layout, values))


def _sister(layout: Layout, **changed: str) -> bytearray:
    return memory_of(layout, tugs.thruster(controller_serial="TC2-0422", **changed))


def _first_visit(thruster: Layout, winch: Layout) -> Iterator[File | Call]:
    yield from _port_thruster(thruster)
    day = "2025-03-10"
    yield _dump("STBD1.HEX", _starboard(thruster), "2025-03-10 10:20")
    yield _dump("STBD2.HEX", _starboard(thruster), "2025-03-10 10:31")
    yield _archive(
        "The starboard thruster, both reads at once.",
        ("STBD1.HEX", "STBD2.HEX"),
        ("grebe", "stbd-thruster", "U12"),
        *THRUSTER_CHIP,
        day=day,
    )
    memory = bytes(memory_of(winch, tugs.winch()))
    yield _dump("WINCH1.S19", memory, "2025-03-10 13:05")
    yield _dump("WINCH2.S19", memory, "2025-03-10 13:17")
    yield _archive(
        "The towing winch; this reader writes S-records.",
        ("WINCH1.S19", "WINCH2.S19"),
        ("grebe", "towing-winch", "U3"),
        *("--layout", "towing-winch.toml"),
        day=day,
    )
    yield _dump("AVOCET1.BIN", bytes(_sister(thruster)), "2025-03-11 08:30")
    yield _archive(
        "The sister tug's thruster, a raw file, read once in a hurry.",
        ("AVOCET1.BIN",),
        SISTER,
        *THRUSTER_CHIP,
        day="2025-03-11",
    )
    yield Call("What do the bytes mean?", ("decode", "grebe/port-thruster/U12"))


def _port_thruster(thruster: Layout) -> Iterator[File | Call]:
    port = bytes(memory_of(thruster, tugs.thruster()))
    yield _dump("PORT1.HEX", port, "2025-03-10 09:41")
    yield _dump("PORT2.HEX", port, "2025-03-10 09:52")
    yield Call("What did the reader write?", ("inspect", "PORT1.HEX"))
    day = "2025-03-10"
    yield _archive(
        "Keep it: the first read of the port thruster's chip. One read is never enough.",
        ("PORT1.HEX",),
        PORT,
        *THRUSTER_CHIP,
        day=day,
    )
    yield _archive("The same file once more is no second read.", ("PORT1.HEX",), PORT, day=day)
    yield _archive("The chip reseated and read again.", ("PORT2.HEX",), PORT, day=day)


def _changed(layout: Layout) -> bytes:
    """Return the port thruster a year on: a set-point, a counter, and a byte nobody explains."""
    memory = memory_of(layout, tugs.thruster(ramp_up_time="9.0", run_hours="9377.4"))
    memory[UNEXPLAINED_AT] = 0x3C
    return bytes(memory)


def _next_visit(thruster: Layout) -> Iterator[File | Call]:
    where = ("--unit", "port-thruster", "--position", "U12", "--read-on", "2026-03-12")
    yield Call(
        "A year later. An open visit remembers vessel and person.",
        ("visit", "open", "grebe", "--by", PERSON, "--on", "2026-03-12"),
    )
    yield _dump("STBD3.HEX", _starboard(thruster), "2026-03-12 08:50")
    yield Call(
        "The starboard chip, filed under port by mistake: stopped.",
        ("archive", "STBD3.HEX", *where),
        exit_code=2,
    )
    yield _dump("PORT3.HEX", _changed(thruster), "2026-03-12 09:10")
    yield _dump("PORT4.HEX", _changed(thruster), "2026-03-12 09:24")
    yield Call("The right one, read twice.", ("archive", "PORT3.HEX", "PORT4.HEX", *where))
    yield Call(
        "What changed since last time?",
        ("diff", "grebe/port-thruster/U12@previous", "grebe/port-thruster/U12@latest"),
        exit_code=1,
    )
    yield Call("The visit is over.", ("visit", "close"))


def _swap(thruster: Layout) -> Iterator[File | Call]:
    where = "/".join(SISTER)
    yield Call(
        "The sister tug's card has failed. May it be swapped? There is one read only.",
        ("swap", "check", where),
        exit_code=1,
    )
    yield _dump("AVOCET2.BIN", bytes(_sister(thruster)), "2026-04-02 21:15")
    yield _archive(
        "Its chip can still be read, in a socket: the second read.",
        ("AVOCET2.BIN",),
        SISTER,
        day="2026-04-02",
    )
    yield Call("Now the swap may begin.", ("swap", "check", where))
    yield Call(
        "The file for the new card.",
        ("swap", "load-file", where, "--as", "intel-hex", "--out", "LOAD.HEX"),
    )
    yield from _read_backs(thruster, where)


def _read_backs(thruster: Layout, where: str) -> Iterator[File | Call]:
    wrong = _sister(thruster)
    wrong[WRONG_BIT_AT] ^= 0x01
    yield _dump("CARD1.HEX", bytes(wrong), "2026-04-02 22:02")
    yield Call(
        "The new card read back before any power: one bit is wrong, and it is caught.",
        ("swap", "read-back", where, "CARD1.HEX"),
        exit_code=1,
    )
    yield _dump("CARD2.HEX", bytes(_sister(thruster)), "2026-04-02 22:20")
    yield Call("Loaded again, read back again.", ("swap", "read-back", where, "CARD2.HEX"))
    powered = _sister(thruster, run_hours="8421.9", clock="2026-04-02 22:47:31")
    yield _dump("CARD3.HEX", bytes(powered), "2026-04-02 22:49")
    yield Call(
        "After power-up a counter and the clock have moved, as they should; nothing else.",
        ("swap", "read-back", where, "CARD3.HEX", "--stage", "after-power"),
    )


def _end() -> Iterator[Call]:
    yield Call("Is everything in the vault still sound?", ("recheck",))
    yield Call("What is there, and what is wanting?", ("catalogue",))
