"""What the command line itself refuses."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, ParambakError

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
