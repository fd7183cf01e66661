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
ANSWER_SHAPE = Fault(
    "swap-answer-shape",
    CallRefused,
    "that is no answer to a condition",
    "Give CONDITION=ANSWER:TEXT, as in 'permit=yes: permit 14'; as many as you like in one call.",
)
TEST_SHAPE = Fault(
    "swap-test-shape",
    CallRefused,
    "a function test is given as NAME=passed or NAME=failed",
    "A remark may follow: NAME=passed: at 1310 rpm.",
)
ON_PURPOSE = Fault(
    "alike-on-purpose",
    CallRefused,
    "it is not said what differs on purpose, or why",
    "Give the position, --on-purpose FIELD and --reason TEXT.",
)
NO_FIELD = Fault(
    "alike-no-field",
    NotFound,
    "the layout has no field of that name",
    "Write it out as `decode` shows it, such as channel[3].upper_limit.",
)
NOTHING_MEANT = Fault(
    "read-back-nothing-meant",
    NotFound,
    "there is no verified copy that the card could have been loaded with",
    "Run `parambak swap check {where}`; to compare with a copy that is not verified, use "
    "`parambak diff {where} DUMP`.",
)
NORMAL_SHAPE = Fault(
    "normal-shape",
    CallRefused,
    "that declares nothing normal",
    "Write --normal CODE=REASON with a finding's code, and --read-by with your name.",
)
DEMO_FOLDER = Fault(
    "demo-folder",
    CallRefused,
    "the demo writes only into a folder that is empty or absent",
    "Name another folder: `parambak demo DIR`.",
)
TWO_LAYOUTS = Fault(
    "two-layouts-needed",
    CallRefused,
    "values are compared where both sides have a layout of their own",
    "Give the old software's layout with --old-layout FILE and the new one's with --layout FILE.",
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
DRAFT_SIZE = Fault(
    "draft-size",
    CallRefused,
    "a draft needs the size of the memory",
    "Give --memory BYTES, or --chip with a part number of the table, and not both.",
)
