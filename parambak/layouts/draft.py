"""A first layout for a memory of which only the size is recorded.

The text is a layout without mistakes and without fields. Its comments hold one example of
each thing that a user writes first: remove the `#` of a line without a space after it.
"""

from __future__ import annotations

from typing import NamedTuple

_HEAD = """\
# A field layout: what the bytes of one memory mean. formats/writing-a-layout.md shows in
# ten minutes how to write one. formats/field-layout.md lists every word of the language.
#
# Lines that begin with # and a space are comments. A line that begins with # and no space
# is an example: correct its name and address, then remove the #. After every few lines, run:
#   parambak layout check THIS_FILE      shows what is wrong, and on which line
#   parambak layout map THIS_FILE        shows what is covered, and what is not
#   parambak decode DUMP --layout THIS_FILE    shows the values of a memory

[layout]
title = "Write here what this memory belongs to"
revision = "1"               # of this layout: increase it with each new issue
memory = {memory:<19} # bytes{chip}
byte-order = "big"           # "big": the high byte of a number is first. Else "little"
#software-versions = ["1.0"] # of the unit, for which this layout is correct
#source = "which document, which panel, which person"
"""


class _Example(NamedTuple):
    """One example: what it is for, how many bytes it takes, and its lines."""

    about: str
    length: int
    lines: tuple[str, ...]


_EXAMPLES = (
    _Example(
        "Text that identifies the unit: it must match when a copy is loaded into another card.",
        16,
        (
            "[[field]]",
            'name = "serial_number"',
            "at = {at}",
            'type = "text"',
            "length = 16",
            "identifies-unit = true",
        ),
    ),
    _Example(
        "A number of two bytes. 125 is stored, 12.5 s is shown. A value outside low to high is "
        "marked.\n# u8 u16 u24 u32 are without a sign, s8 s16 s24 s32 with a sign.",
        2,
        (
            "[[field]]",
            'name = "ramp_up_time"',
            "at = {at}",
            'type = "u16"',
            "scale = 0.1                 # value = stored number * scale + offset",
            'unit = "s"',
            "low = 2.0",
            "high = 60.0",
            'source = "parameter list, page 3"',
        ),
    ),
    _Example(
        "A choice: a name for each stored number.",
        1,
        (
            "[[field]]",
            'name = "control_mode"',
            "at = {at}",
            'type = "u8"',
            'values = {{ 0 = "local", 1 = "bridge" }}',
        ),
    ),
    _Example(
        "One bit of a byte; bit 0 is the lowest.",
        1,
        (
            "[[field]]",
            'name = "remote_panel_fitted"',
            "at = {at}",
            'type = "flag"',
            "bit = 0",
            'values = {{ 0 = "no", 1 = "yes" }}',
        ),
    ),
    _Example(
        "A counter: it is different at every visit, and this is normal.",
        4,
        (
            "[[field]]",
            'name = "run_hours"',
            "at = {at}",
            'type = "u32"',
            'unit = "h"',
            "running = true",
        ),
    ),
    _Example(
        "A table: the same fields in every row. Addresses in it count from the start of the row.",
        16,
        (
            "[[group]]",
            'name = "channel"',
            "at = {at}",
            "count = 4                   # rows",
            "row-size = 4                # bytes from one row to the next",
            "  [[group.field]]",
            '  name = "upper_limit"',
            "  at = 0",
            '  type = "u16"',
            "  curve = [[819, 0.0], [4095, 10.0]]   # stored number, value: a straight line",
            '  unit = "bar"',
            "  [[group.field]]",
            '  name = "delay"',
            "  at = 2",
            '  type = "u16"',
            "  scale = 0.1",
            '  unit = "s"',
        ),
    ),
    _Example(
        "Bytes without a recorded meaning.",
        8,
        ("[[reserved]]", 'name = "not documented"', "at = {at}", "length = 8"),
    ),
)
_CHECK = """\
# A stored check over all bytes before it. `parambak layout find` can search for one.
#[[check]]
#name = "block check"
#method = "crc-16/ibm-3740"  # or sum-16, xor-8 …: formats/field-layout.md, Checks
#over = [[0x0000, {last}]]   # first and last address, both included
#at = {at}
"""


def draft(memory: int, chip: str | None = None) -> str:
    """Return the text of a first layout for a memory of so many bytes, 1 to 16 MiB.

    Examples follow each other from 0x0000, as many as the memory has room for.
    """
    named = "" if chip is None else f", a {chip}"
    parts = [_HEAD.format(memory=memory, chip=named)]
    at = 0
    for example in _EXAMPLES:
        if at + example.length <= memory - 2:
            lines = (line.format(at=f"0x{at:04X}") for line in example.lines)
            parts.append("".join((f"# {example.about}\n", *(f"#{line}\n" for line in lines))))
            at += example.length
    if memory > 2:
        parts.append(_CHECK.format(last=f"0x{memory - 3:04X}", at=f"0x{memory - 2:04X}"))
    return "\n".join(parts)
