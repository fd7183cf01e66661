"""The faults of several questions; a fault of one question is in its own module."""

from __future__ import annotations

from parambak.errors import CallRefused, DumpRefused, Fault, NotFound, ParambakError

LAYOUT_NEEDED = Fault(
    "layout-needed",
    CallRefused,
    "there is no layout for these bytes",
    "Give one with --layout FILE. `parambak archive … --layout FILE` keeps it with the position.",
)
PAIR_COUNT = Fault(
    "pair-count",
    CallRefused,
    "with --pair, two dumps are one read of one memory, and here one is missing",
    "Name the dumps in pairs: first chip, second chip. For a second read name both again.",
)
VISIT_PERSON = Fault(
    "visit-person",
    CallRefused,
    "a visit needs the name of the person who attends",
    "Give --by NAME.",
)
DAY_TO_COME = Fault(
    "day-to-come",
    CallRefused,
    "that day is not in the permitted range",
    "Type the day of the read. If it is correct, set this computer's clock.",
)
VAULT_FOLDER = Fault(
    "vault-no-folder",
    NotFound,
    "no new vault was made, because the folder for it does not exist",
    "Connect the stick or the share. For a new vault there, make the folder first.",
)
NOT_THE_SAME = Fault(
    "export-not-the-same",
    ParambakError,
    "the file that was written does not read back as the same bytes",
    "Do not use the file. Try another folder or stick, and inform the maintainers.",
)
ACCEPT_UNUSED = Fault(
    "accept-unused",
    CallRefused,
    "no file of this call needs what --accept allows",
    "Leave out that --accept.",
)
DUMPS_REFUSED = Fault(
    "dumps-refused",
    DumpRefused,
    "{number} of the dumps are refused, and nothing is put on record",
    "`parambak inspect` with the same files shows what to do about each.",
)
ACCEPT_NAME = Fault(
    "accept-name",
    CallRefused,
    "there is no such irregularity to accept",
    "Name one of those expected.",
)
NORMAL_SHAPE = Fault(
    "normal-shape",
    CallRefused,
    "a finding is declared normal by its code, a reason and your name",
    "Write --normal CODE=REASON with the code of a finding, and --by with your name.",
)
WITHDRAW_OPEN_SWAP = Fault(
    "withdraw-open-swap",
    CallRefused,
    "a swap is open at {where}, and would be withdrawn with it",
    "Close it first with `parambak swap close {where}`. If it was opened by mistake, end it with "
    "`parambak swap close {where} --abandoned --reason TEXT`.",
)
