"""Every way in which a layout can be wrong, each with its stable code."""

from __future__ import annotations

from parambak.errors import Fault, LayoutRefused

TOO_LARGE = Fault(
    "layout-too-large",
    LayoutRefused,
    "The layout is too long.",
    "Check that this is a layout file; split a very large one by `include`.",
)
NOT_UTF8 = Fault(
    "layout-not-utf8",
    LayoutRefused,
    "The layout is not UTF-8 text.",
    "Save the file as UTF-8 without a byte-order mark.",
)
NUL = Fault(
    "layout-nul",
    LayoutRefused,
    "The layout holds a NUL character.",
    "Check that this is a text file; remove the NUL.",
)
SYNTAX = Fault(
    "layout-syntax",
    LayoutRefused,
    "This is not TOML: {reason}.",
    "{advice}",
)
KEY_TWICE = Fault(
    "layout-key-twice",
    LayoutRefused,
    "A key or table is given twice: {reason}.",
    "Keep one of the two. Before each further field stands a line [[field]] of its own.",
)
TOO_DEEP = Fault(
    "layout-too-deep",
    LayoutRefused,
    "The layout is nested too deeply.",
    "Put groups in groups at most eight deep, and write lists without needless brackets.",
)
NUMBER_TOO_LONG = Fault(
    "layout-number-too-long",
    LayoutRefused,
    "A number has too many digits.",
    "Write the number with no more digits than it needs.",
)
UNKNOWN_LANGUAGE = Fault(
    "layout-unknown-language",
    LayoutRefused,
    "The layout is written in a version of the language that this program does not know.",
    "Use a newer program, or write `language = 1`.",
)
UNKNOWN_KEY = Fault(
    "layout-unknown-key",
    LayoutRefused,
    "{where} has an unknown key `{key}`.",
    "{advice}",
)
KEY_MISSING = Fault(
    "layout-key-missing",
    LayoutRefused,
    "{where} lacks the key `{key}`.",
    "Add `{key}`.",
)
WRONG_KIND = Fault(
    "layout-wrong-kind",
    LayoutRefused,
    "`{key}` of {where} is of the wrong kind.",
    "{advice}",
)
OUT_OF_BOUNDS = Fault(
    "layout-out-of-bounds",
    LayoutRefused,
    "`{key}` of {where} is out of bounds.",
    "Write a value within the bounds.",
)
UNKNOWN_WORD = Fault(
    "layout-unknown-word",
    LayoutRefused,
    "`{key}` of {where} is not a word of the language.",
    "{advice}",
)
LENGTH = Fault(
    "layout-length",
    LayoutRefused,
    "The length of {where} cannot be.",
    "Give the length in bytes, at least 1, or leave it out where the type says it.",
)
NUMBER = Fault(
    "layout-number",
    LayoutRefused,
    "`{key}` of {where} is not a number to count with.",
    "Write a finite decimal number of at most 40 digits.",
)
SCALE = Fault(
    "layout-scale",
    LayoutRefused,
    "The scale of {where} is zero.",
    "Write a scale that is not zero, or leave it out.",
)
CURVE = Fault(
    "layout-curve",
    LayoutRefused,
    "The points of {where} do not make a table.",
    "Write two pairs or more, [raw, value], each raw greater than the one before.",
)
LIMITS = Fault(
    "layout-limits",
    LayoutRefused,
    "The low limit of {where} is above its high limit.",
    "CrossOver the two, or mend the wrong one.",
)
LIMIT_FIELD = Fault(
    "layout-limit-field",
    LayoutRefused,
    "`{key}` of {where} does not name a field that holds a number.",
    "{advice}",
)
ADDRESS = Fault(
    "layout-address",
    LayoutRefused,
    "{where} does not lie inside the memory.",
    "Mend the address or length, or the memory's size.",
)
OVERLAP = Fault(
    "layout-overlap",
    LayoutRefused,
    "{where} stands on the same bytes as {other}.",
    "Mend the address, or write `shares = true` in one of them if it is meant.",
)
NAME_TWICE = Fault(
    "layout-name-twice",
    LayoutRefused,
    "{where} has a name that is taken.",
    "Choose names that differ by more than case.",
)
NAME = Fault(
    "layout-name",
    LayoutRefused,
    "The name of {where} cannot be used.",
    "Use letters, digits, spaces, hyphens and underscores; no dot, bracket or hidden character.",
)
TEXT = Fault(
    "layout-text",
    LayoutRefused,
    "`{key}` of {where} holds a control or hidden character.",
    "Remove the character.",
)
BITS = Fault(
    "layout-bits",
    LayoutRefused,
    "The bits of {where} do not fit its bytes.",
    "Bits count from 0, the lowest; give `length` where they run over more than one byte.",
)
VALUES_TWICE = Fault(
    "layout-values-twice",
    LayoutRefused,
    "One value of {where} has two meanings.",
    "Keep one of the two.",
)
VALUES = Fault(
    "layout-values",
    LayoutRefused,
    "A value in the meanings of {where} is none that it can hold.",
    "Write whole numbers that the field can hold, decimal or with 0x.",
)
NOT_FOR_TYPE = Fault(
    "layout-not-for-type",
    LayoutRefused,
    "`{key}` of {where} has no sense with its type.",
    "Leave `{key}` out, or choose the type that it belongs to.",
)
BYTE_ORDER = Fault(
    "layout-byte-order",
    LayoutRefused,
    "{where} takes several bytes, and nothing says their order.",
    'Write `byte-order = "big"` or `"little"` in [layout] or here.',
)
PARTS = Fault(
    "layout-parts",
    LayoutRefused,
    "The parts of {where} do not make a date or a time.",
    "Give year, month and day, or hour and minute, or both, each once.",
)
ROW_SIZE = Fault(
    "layout-row-size",
    LayoutRefused,
    "{where} has several rows, and nothing says how far apart.",
    "Add `row-size`, the bytes from the start of one row to the start of the next.",
)
ROWS = Fault(
    "layout-rows",
    LayoutRefused,
    "{where} does not name each of its rows.",
    "Write as many names in `rows` as `count` says.",
)
TOO_MANY_FIELDS = Fault(
    "layout-too-many-fields",
    LayoutRefused,
    "The groups, written out, make too many fields.",
    "Mend `count`, or describe large tables as `bytes`.",
)
CHECK_METHOD = Fault(
    "layout-check-method",
    LayoutRefused,
    "{where} has an unknown method.",
    "{advice}",
)
CHECK_PARAMETERS = Fault(
    "layout-check-parameters",
    LayoutRefused,
    "`{key}` of {where} does not fit its method.",
    'Give `width` and `poly` with `method = "crc"`; leave them out with a catalogue name.',
)
CHECK_RANGE = Fault(
    "layout-check-range",
    LayoutRefused,
    "A range of {where} cannot be.",
    "Write [first, last], both included, inside the memory.",
)
CHECK_OVER_ITSELF = Fault(
    "layout-check-over-itself",
    LayoutRefused,
    "{where} covers its own stored value.",
    "End the range before the stored value, or write two ranges around it.",
)
INCLUDE_OUTSIDE = Fault(
    "layout-include-outside",
    LayoutRefused,
    "An include leaves the layout's folder.",
    "Name a file in the layout's folder or below it: no `..`, drive, backslash or leading slash.",
)
INCLUDE_CIRCLE = Fault(
    "layout-include-circle",
    LayoutRefused,
    "The includes go round in a circle.",
    "Remove one of the includes named.",
)
INCLUDE_ABSENT = Fault(
    "layout-include-absent",
    LayoutRefused,
    "An included file cannot be had.",
    "Put it beside the layout, or write its fields here.",
)
INCLUDE_HEAD = Fault(
    "layout-include-head",
    LayoutRefused,
    "`{key}` stands in an included file.",
    "Write it in the layout that includes the file; here only notes and includes are read.",
)
OTHER_MEMORY = Fault(
    "layout-other-memory",
    LayoutRefused,
    "The layout is for another size of memory.",
    "Choose the layout that belongs to this unit, or check what was read.",
)
