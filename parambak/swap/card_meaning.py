"""What a difference between two card sheets may mean: careful words, by table and key.

The words say what may follow, never that a difference is harmless: common practice of the
trade, no source, and the maker's documents go before them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_PROGRAM = (
    "another program may keep its parameters elsewhere, or take them to mean something else: do "
    "not load the old card's file before the maker says that it fits this version"
)
_CLOCK = "times, baud rates and watchdogs may run at another pace"
_BATTERY = (
    "a memory kept by this battery may be lost already, or when the card comes out: read it "
    "before power goes off"
)
# By the whole name of a key in a table, then by the table alone.
_KEYS: Mapping[tuple[str, str], str] = {
    ("card", "type"): "it may be another card: the maker must say that it replaces this one",
    ("card", "revision"): "a later revision may need other settings, or another program",
    ("card", "clock"): _CLOCK,
    ("card", "software"): _PROGRAM,
    ("program", "place"): "a program memory that one of them does not have",
    ("program", "label"): "labels may be wrong: compare the checksum of a dump",
    ("program", "part"): "another memory part may be too slow, or need links set otherwise",
    ("program", "size"): "another memory part may need links set otherwise",
    ("node", "address"): (
        "two stations of one address disturb the bus for all, and a wrong one is not heard: set "
        "it before the bus is connected"
    ),
    ("node", "speed"): "a station of another speed may disturb the bus for all",
    ("interface", "serial"): "another interface card: its own adjustment may differ",
}
_TABLES: Mapping[str, str] = {
    "card": "the card itself may be another",
    "program": _PROGRAM,
    "links": "a link may choose another mode, memory size, range, address or supply",
    "dip-switches": "a switch may choose another mode, range or address",
    "rotary-switches": "a rotary switch often sets an address or a mode",
    "trimmers": "measured values or reference voltages may be off: adjust as the maker says",
    "terminations": "a bus with one termination too few or too many may fail now and then",
    "node": "the card may not be heard on its bus, or may disturb it",
    "fuses": "a fuse of another rating may not protect, or may blow in service",
    "battery": _BATTERY,
    "interface": "a signal may come in at another place, or be taken for another kind",
}
UNKNOWN = "the sheets do not say what follows: ask the maker"
DEFER = "The maker's documents for this very unit go before these words."
NOT_ASKED = "stated on one sheet alone: look at the card"


def meaning(name: str) -> str:
    """Return what a difference in the entry of this dotted name may mean."""
    parts = name.split(".")
    table, key = parts[0], parts[-1]
    return _KEYS.get((table, key), _TABLES.get(table, UNKNOWN))
