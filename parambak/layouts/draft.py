"""A first layout for a memory of which nothing is known but its size.

What is written is a layout without mistakes that explains nothing yet, and beside it, as
comments, one example of each thing that a user writes first. A line that begins with `#`
and no space becomes part of the layout when the `#` is taken away.
"""

from __future__ import annotations

from typing import NamedTuple

_HEAD = """\
# A field layout: what the bytes of one memory mean. formats/writing-a-layout.md teaches it
# in ten minutes; formats/field-layout.md has every word of it.
#
# Lines that begin with # and a space are for you. A line that begins with # and no space is
# an example: set its name and address right, and take the # away. After every few lines:
#   parambak layout check THIS_FILE      says what is wrong, and on which line
#   parambak layout map THIS_FILE        shows what is covered, and what is not
#   parambak decode DUMP --layout THIS_FILE    shows the values of a memory

[layout]
title = "Write here what this memory belongs to"
revision = "1"               # of this layout: count up when you hand out a new one
memory = {memory:<19} # bytes{chip}
byte-order = "big"           # which byte of a number stands first: "big" or "little"
#software-versions = ["1.0"] # that this layout is right for
#source = "which papers, which panel, whose word"
"""


class _Example(NamedTuple):
    """One example: what it is for, how many bytes it takes, and its lines."""

    about: str
    length: int
    lines: tuple[str, ...]


_EXAMPLES = (
    _Example(
        "Text that tells the unit: it must match when a copy is loaded into another card.",
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
        "A number of two bytes. Stored 125, shown 12.5 s; below low or above high it is marked.\n"
        "# u8 u16 u24 u32 are without a sign, s8 to s32 with one.",
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
        "A choice: words for stored numbers.",
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
        "A counter: it differs at every visit, and that is right.",
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
        "A table: the same fields in every row. Addresses inside count from the row's start.",
        16,
        (
            "[[group]]",
            'name = "channel"',
            "at = {at}",
            "count = 4                   # rows",
            "row-size = 4                    # bytes from one row to the next",
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
        "Bytes without a known meaning.",
        8,
        ("[[reserved]]", 'name = "not known yet"', "at = {at}", "length = 8"),
    ),
)
_CHECK = """\
# A stored check over all that stands before it. `parambak layout find` can search for one.
#[[check]]
#name = "block check"
#method = "crc-16/ibm-3740"  # or sum-16, xor-8 …: formats/field-layout.md, Checks
#over = [[0x0000, {last}]]   # first and last address, both included
#at = {at}
"""


def draft(memory: int, chip: str | None = None) -> str:
    """Return the text of a first layout for a memory of so many bytes, 1 to 16 MiB.

    Examples stand one behind the other from 0x0000, as far as they go into the memory.
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
