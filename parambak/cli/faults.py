"""What the command line itself refuses."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, NotFound, ParambakError

CALL = Fault("call", CallRefused, "{message}", "Run `{command} --help`.")
MEMORY = Fault(
    "memory",
    ParambakError,
    "the machine ran out of memory",
    "Close other programs and try again.",
)
DEMO_FOLDER = Fault(
    "demo-folder",
    CallRefused,
    "the demo writes only into a folder that is empty or absent",
    "Name another folder: `parambak demo DIR`.",
)
COMPARE_CARD = Fault(
    "sheet-compare-card",
    CallRefused,
    "the new card is named by its sheet or by its serial number",
    "Give --new-card SHEET, or --new-card-serial SERIAL of a card whose sheet is on record.",
)
COMPARE_NONE = Fault(
    "sheet-none",
    NotFound,
    "no card sheet of {where} is on record",
    "Fill one in (`parambak card blank`) and keep it with `parambak card record {where} SHEET`.",
)
COMPARE_NOTHING = Fault(
    "sheet-nothing",
    CallRefused,
    "neither sheet states anything",
    "Take the # away from the lines that you can fill in, on both.",
)
