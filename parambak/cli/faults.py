"""What the command line itself refuses."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault, NotFound, NotProven, ParambakError

CALL = Fault("call", CallRefused, "{message}", "Run `{command} --help`.")
MEMORY = Fault(
    "memory",
    ParambakError,
    "the machine ran out of memory",
    "Close other programs and try again.",
)
ACCEPT_CONDITION = Fault(
    "swap-accept-condition",
    CallRefused,
    "that condition cannot be accepted",
    "Name one condition as `swap check` lists it. Without a copy that is plausible and intact "
    "nothing can be loaded.",
)
ACCEPT_WORDS = Fault(
    "swap-accept-words",
    CallRefused,
    "a deviation is accepted by name, with a reason, and typed again",
    "Give --accept {condition} --confirm {condition} --by NAME --reason TEXT.",
)
ANSWER_SHAPE = Fault(
    "swap-answer-shape",
    CallRefused,
    "that is no answer to a condition",
    "Give CONDITION=ANSWER:TEXT, as in 'permit=yes: permit 14'; as many as you like in one call.",
)
ACCEPT_ALONE = Fault(
    "swap-accept-none",
    CallRefused,
    "no condition is named that is accepted: nothing was put on record",
    "Name it with --accept CONDITION, or leave --confirm, --by and --reason out.",
)
ACCEPT_MET = Fault(
    "swap-accept-met",
    CallRefused,
    "{condition} is met: there is nothing to accept",
    "Run `parambak swap check` without --accept.",
)
TEST_SHAPE = Fault(
    "swap-test-shape",
    CallRefused,
    "a function test is given as NAME=passed or NAME=failed",
    "A remark may follow: NAME=passed: at 1310 rpm.",
)
UNVERIFIED_WORDS = Fault(
    "load-file-unverified-words",
    CallRefused,
    "a copy that is not verified is released by name, with a reason, and typed again",
    "Give --unverified --confirm UNVERIFIED --by NAME --reason TEXT.",
)
SHORT_NAME = Fault(
    "load-file-short-name",
    CallRefused,
    "this reader, by its profile, takes short names alone",
    "Name the file with eight letters or digits at most, a point and three, such as LOAD.HEX.",
)
FORMAT_NEEDED = Fault(
    "load-file-format",
    CallRefused,
    "the format of the file is not known",
    "Give --as, or a --profile that says it.",
)
UNVERIFIED_ALONE = Fault(
    "load-file-no-release",
    CallRefused,
    "--confirm and --reason go with --unverified, and that was not given",
    "Add --unverified to release a copy that is not verified, or leave both out.",
)
UNVERIFIED_NOT = Fault(
    "load-file-verified",
    CallRefused,
    "the copy is verified: it needs no release without verification",
    "Leave --unverified out.",
)
NOT_VERIFIED = Fault(
    "load-file-not-verified",
    NotProven,
    "no file is released: the copy is not verified: {unmet}",
    "Run `parambak swap check {where}`, which says what to do for each condition. In an emergency "
    "it can be released all the same: --unverified --confirm UNVERIFIED --by NAME --reason TEXT.",
)
COPY_LOST = Fault(
    "swap-copy-lost",
    NotFound,
    "the copy that this swap means is not on record at {where} any more",
    "See what is there with `parambak catalogue {where}`, and choose with `parambak swap choose`.",
)
NOTHING_MEANT = Fault(
    "read-back-nothing-meant",
    NotFound,
    "there is no verified copy that the card could have been loaded with",
    "Run `parambak swap check {where}`; to compare with a copy that is not verified, use "
    "`parambak diff {where} DUMP`.",
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
