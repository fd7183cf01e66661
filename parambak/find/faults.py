"""Why a file of values, or a search for them, is refused."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault

_FORM = "Write one value on each line, such as `ramp_up_time = 12.5 s | 9.0 s`."

VALUES_TOO_LARGE = Fault(
    "layout-find-too-large",
    CallRefused,
    "The file of values is too long.",
    "Check that this file is the list of values. Remove the lines that are not needed.",
)
VALUES_NOT_UTF8 = Fault(
    "layout-find-not-utf8",
    CallRefused,
    "The file of values is not UTF-8 text.",
    "Save it as UTF-8 text.",
)
VALUES_HIDDEN = Fault(
    "layout-find-hidden",
    CallRefused,
    "A line holds a control or hidden character.",
    "Type the line again without that character.",
)
VALUES_SHAPE = Fault(
    "layout-find-shape", CallRefused, "The line is not a name and its value.", _FORM
)
VALUES_NUMBER = Fault(
    "layout-find-number",
    CallRefused,
    "The number can be read in two ways, or has too many digits.",
    (
        "Write the number without separators of thousands, with one point or comma. Write text in "
        "quotes."
    ),
)
VALUES_COUNT = Fault(
    "layout-find-count",
    CallRefused,
    "The line has another number of values than there are copies.",
    "Give one value for all copies, or one for each copy. Write `?` for a value not seen.",
)
VALUES_KIND = Fault(
    "layout-find-kind",
    CallRefused,
    "The values of a line are of two kinds.",
    "Write only numbers or only texts. Write the same unit for all, or none.",
)
VALUES_TWICE = Fault(
    "layout-find-twice",
    CallRefused,
    "A name is given twice.",
    (
        "Give each value another name. Write the values of two visits on one line, with `|` "
        "between them."
    ),
)
VALUES_NONE = Fault("layout-find-none", CallRefused, "There is no value to search for.", _FORM)
NO_BYTES = Fault(
    "layout-find-no-bytes",
    CallRefused,
    "The copies have no address in common.",
    "Name copies of one position. Give dump files the same base address.",
)
TOO_MANY_COPIES = Fault(
    "layout-find-copies",
    CallRefused,
    "The command names too many copies.",
    "Choose the copies between which most values changed.",
)
