"""What a file of values, or the search in it, is refused for."""

from __future__ import annotations

from parambak.errors import CallRefused, Fault

_FORM = "Write one value a line, such as `ramp_up_time = 12.5 s | 9.0 s`."

VALUES_TOO_LARGE = Fault(
    "layout-find-too-large",
    CallRefused,
    "The file of values is too long.",
    "Check that this is the list of values; leave out what is not needed.",
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
    "Type the line again, without it.",
)
VALUES_SHAPE = Fault("layout-find-shape", CallRefused, "That is not a name and its value.", _FORM)
VALUES_NUMBER = Fault(
    "layout-find-number",
    CallRefused,
    "That number can be read in two ways, or is too long to count with.",
    "Write it without separators of thousands, with a point or one comma; text in quotes.",
)
VALUES_COUNT = Fault(
    "layout-find-count",
    CallRefused,
    "The values of a line do not go with the copies named.",
    "Give one value where it is the same in all, else one for each, `?` where it was not seen.",
)
VALUES_KIND = Fault(
    "layout-find-kind",
    CallRefused,
    "The values of a line are of two kinds.",
    "Write numbers or texts, not both; and the same unit, or none.",
)
VALUES_TWICE = Fault(
    "layout-find-twice",
    CallRefused,
    "A name is given twice.",
    "Give each value a name of its own; two visits go on one line, with `|` between.",
)
VALUES_NONE = Fault("layout-find-none", CallRefused, "There is no value to look for.", _FORM)
NO_BYTES = Fault(
    "layout-find-no-bytes",
    CallRefused,
    "The copies have no address in common.",
    "Name copies of one position, and give dump files the same base address.",
)
TOO_MANY_COPIES = Fault(
    "layout-find-copies",
    CallRefused,
    "Too many copies are named.",
    "Choose those between which most values changed.",
)
