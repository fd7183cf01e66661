"""What several questions are refused for; what one is refused for stands in its own module."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, NotFound, ParambakError

LAYOUT_NEEDED = Fault(
    "layout-needed",
    CallRefused,
    "no layout is known for these bytes",
    "Give one with --layout FILE; `archive … --layout` keeps it with the position.",
)
PAIR_COUNT = Fault(
    "pair-count",
    CallRefused,
    "with --pair every two dumps are one read of one memory",
    "Name the dumps two by two: first chip, second chip, and again for a second read.",
)
DAY_TO_COME = Fault(
    "day-to-come",
    CallRefused,
    "no chip was read on that day",
    "Type the day of the read; if it is right, set this computer's clock.",
)
VAULT_FOLDER = Fault(
    "vault-no-folder",
    NotFound,
    "The folder that the vault is to lie in is not there, so no new vault was made.",
    "Is the stick plugged in, the share connected? For a new vault there, make the folder first.",
)
NOT_THE_SAME = Fault(
    "export-not-the-same",
    ParambakError,
    "the file that was written does not read back as the same image",
    "Do not use the file. Try another folder or stick, and tell the maintainers.",
)
ACCEPT_NAME = Fault(
    "accept-name", CallRefused, "there is no such allowance", "Name one of those expected."
)
CHIP_NAME = Fault(
    "chip-unknown",
    CallRefused,
    "no such chip in the table",
    "Leave --chip out, or name a part number of the table: {known}.",
)
NORMAL_SHAPE = Fault(
    "normal-shape",
    CallRefused,
    "that declares nothing normal",
    "Write --normal CODE=REASON with a finding's code, and --read-by with your name.",
)
