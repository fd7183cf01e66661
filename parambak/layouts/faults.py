"""Every way in which a layout can be wrong, each with its stable code."""

from __future__ import annotations

from parambak.errors import Fault, LayoutRefused

TOO_LARGE = Fault(
    "layout-too-large",
    LayoutRefused,
    "The layout is too long.",
    "Check that this file is a layout. Split a very large layout with `include`.",
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
    "Check that this file is text, then remove the NUL.",
)
SYNTAX = Fault(
    "layout-syntax",
    LayoutRefused,
    "The line is not TOML: {reason}.",
    "{advice}",
)
KEY_TWICE = Fault(
    "layout-key-twice",
    LayoutRefused,
    "A key or table is given twice: {reason}.",
    "Keep one of the two. Begin each new field with a line [[field]].",
)
TOO_DEEP = Fault(
    "layout-too-deep",
    LayoutRefused,
    "The layout is nested too deeply.",
    "Put groups inside groups at most eight deep. Write lists without extra brackets.",
)
NUMBER_TOO_LONG = Fault(
    "layout-number-too-long",
    LayoutRefused,
    "A number has too many digits.",
    "Write the number with at most 40 digits.",
)
UNKNOWN_LANGUAGE = Fault(
    "layout-unknown-language",
    LayoutRefused,
    "This program cannot read the layout's version of the language.",
    "Use a newer Parambak, or write `language = 1`.",
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
    "{where} is missing the key `{key}`.",
    "Add `{key}`.",
)
WRONG_KIND = Fault(
    "layout-wrong-kind",
    LayoutRefused,
    "`{key}` of {where} has a value of the wrong kind.",
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
    "The length of {where} is not possible.",
    "Give the length in bytes, at least 1. Leave `length` out if the type fixes it.",
)
NUMBER = Fault(
    "layout-number",
    LayoutRefused,
    "`{key}` of {where} is not a number that can be used.",
    "Write a finite decimal number of at most 40 digits.",
)
SCALE = Fault(
    "layout-scale",
    LayoutRefused,
    "The scale of {where} is zero.",
    "Write a scale other than zero, or leave `scale` out.",
)
CURVE = Fault(
    "layout-curve",
    LayoutRefused,
    "The curve of {where} is not valid.",
    "Write two or more pairs [raw, value]. Each raw number must be greater than the one before.",
)
LIMITS = Fault(
    "layout-limits",
    LayoutRefused,
    "The low limit of {where} is above its high limit.",
    "Exchange the two limits, or correct the wrong one.",
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
    "{where} is outside the memory.",
    "Correct the address, the length, or the size of the memory.",
)
OVERLAP = Fault(
    "layout-overlap",
    LayoutRefused,
    "{where} uses the same bytes as {other}.",
    "Correct the address. If both must use the bytes, write `shares = true` in one of them.",
)
NAME_TWICE = Fault(
    "layout-name-twice",
    LayoutRefused,
    "{where} has a name that is already used.",
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
    "Count bits from 0, the lowest. Give `length` if the bits are in more than one byte.",
)
VALUES_TWICE = Fault(
    "layout-values-twice",
    LayoutRefused,
    "One stored number of {where} has two names in `values`.",
    "Keep one of the two.",
)
VALUES = Fault(
    "layout-values",
    LayoutRefused,
    "{where} cannot store a number that is in its `values`.",
    "Write whole numbers that the field can store, in decimal or with 0x.",
)
NOT_FOR_TYPE = Fault(
    "layout-not-for-type",
    LayoutRefused,
    "`{key}` of {where} cannot be used with its type.",
    "Leave `{key}` out, or choose a type that uses it.",
)
BYTE_ORDER = Fault(
    "layout-byte-order",
    LayoutRefused,
    "{where} takes several bytes, and their order is missing.",
    'Write `byte-order = "big"` or `"little"` in [layout] or here.',
)
PARTS = Fault(
    "layout-parts",
    LayoutRefused,
    "The parts of {where} do not make a date or a time.",
    "Give year, month and day, or hour and minute, or both. Give each part once.",
)
ROW_SIZE = Fault(
    "layout-row-size",
    LayoutRefused,
    "{where} has several rows, and the size of a row is missing.",
    "Add `row-size`, the bytes from the start of one row to the start of the next.",
)
ROWS = Fault(
    "layout-rows",
    LayoutRefused,
    "{where} has a number of row names other than its `count`.",
    "Write one name in `rows` for each of the `count` rows.",
)
TOO_MANY_FIELDS = Fault(
    "layout-too-many-fields",
    LayoutRefused,
    "The groups make too many fields.",
    "Correct `count`, or describe a large table as one field of type `bytes`.",
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
    'Give `width` and `poly` with `method = "crc"`. With any other method, leave them out.',
)
CHECK_RANGE = Fault(
    "layout-check-range",
    LayoutRefused,
    "A range of {where} is not possible.",
    "Write [first, last]: two addresses inside the memory, both included.",
)
CHECK_OVER_ITSELF = Fault(
    "layout-check-over-itself",
    LayoutRefused,
    "{where} covers its own stored value.",
    "End the range before the stored value, or write two ranges: before and after it.",
)
INCLUDE_OUTSIDE = Fault(
    "layout-include-outside",
    LayoutRefused,
    "An included file is outside the layout's folder.",
    (
        "Name a file in the layout's folder or below. Use no `..`, drive, backslash or leading "
        "slash."
    ),
)
INCLUDE_CIRCLE = Fault(
    "layout-include-circle",
    LayoutRefused,
    "A file includes itself, directly or through other files.",
    "Remove one of the includes in the list.",
)
INCLUDE_ABSENT = Fault(
    "layout-include-absent",
    LayoutRefused,
    "An included file cannot be read.",
    "Put the file in the layout's folder, or write its fields in the layout.",
)
INCLUDE_HEAD = Fault(
    "layout-include-head",
    LayoutRefused,
    "`{key}` is in an included file, where it has no effect.",
    "Move the key to the layout that includes this file.",
)
OTHER_MEMORY = Fault(
    "layout-other-memory",
    LayoutRefused,
    "The layout is for another size of memory.",
    "Choose the layout of this unit, or check which chip was read.",
)
