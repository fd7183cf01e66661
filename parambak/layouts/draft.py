"""A first layout for a memory of which only the size is recorded.

The text is a layout without mistakes and without fields. Its comments hold one example of
each thing that a user writes first: remove the `#` of a line without a space after it.
"""

from __future__ import annotations

_HEAD = """\
# A field layout: what the bytes of one memory mean. formats/writing-a-layout.md shows in
# ten minutes how to write one. formats/field-layout.md lists every word of the language.
#
# Lines that begin with # and a space are comments. A line that begins with # and no space
# is an example: correct its name and address, then remove the #. After every few lines, run:
#   parambak layout check THIS_FILE      shows what is wrong, and on which line.
#   parambak layout map THIS_FILE        shows what is covered, and what is not.
#   parambak decode DUMP --layout THIS_FILE    shows the values of a memory.

[layout]
title = "Write here what this memory belongs to"
revision = "1"               # of this layout: increase it with each new issue
memory = {memory:<19} # bytes{chip}
byte-order = "big"           # "big": the high byte of a number is first. Else "little"
#software-versions = ["1.0"] # of the unit, for which this layout is correct
#source = "which document, which panel, which person"
"""


_GROUP = """\
# A table: the same fields in every row. Addresses in it count from the start of the row.
#[[group]]
#name = "channel"
#at = {at}
#count = 4                   # rows
#row-size = 4                # bytes from one row to the next
"""
_FIELDS_OF_GROUP = """\
#  [[group.field]]
#  name = "upper_limit"
#  at = 0
#  type = "u16"
#  curve = [[819, 0.0], [4095, 10.0]]   # stored number, value: a straight line
#  unit = "bar"
#  [[group.field]]
#  name = "delay"
#  at = 2
#  type = "u16"
#  scale = 0.1
#  unit = "s"
"""
# Each example, and how many bytes it takes.
_EXAMPLES = (
    (
        16,
        """\
# Text that identifies the unit: it must match when a copy is loaded into another card.
#[[field]]
#name = "serial_number"
#at = {at}
#type = "text"
#length = 16
#identifies-unit = true
""",
    ),
    (
        2,
        """\
# A number of two bytes. 125 is stored, 12.5 s is shown. A value outside low to high is marked.
# u8 u16 u24 u32 are without a sign, s8 s16 s24 s32 with a sign.
#[[field]]
#name = "ramp_up_time"
#at = {at}
#type = "u16"
#scale = 0.1                 # value = stored number * scale + offset
#unit = "s"
#low = 2.0
#high = 60.0
#source = "parameter list, page 3"
""",
    ),
    (
        1,
        """\
# A choice: a name for each stored number.
#[[field]]
#name = "control_mode"
#at = {at}
#type = "u8"
#values = {{ 0 = "local", 1 = "bridge" }}
""",
    ),
    (
        1,
        """\
# One bit of a byte; bit 0 is the lowest.
#[[field]]
#name = "remote_panel_fitted"
#at = {at}
#type = "flag"
#bit = 0
#values = {{ 0 = "no", 1 = "yes" }}
""",
    ),
    (
        4,
        """\
# A counter: it is different at every visit, and this is normal.
#[[field]]
#name = "run_hours"
#at = {at}
#type = "u32"
#unit = "h"
#running = true
""",
    ),
    (
        16,
        _GROUP + _FIELDS_OF_GROUP,
    ),
    (
        8,
        """\
# Bytes without a recorded meaning.
#[[reserved]]
#name = "not documented"
#at = {at}
#length = 8
""",
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
    for length, example in _EXAMPLES:
        if at + length <= memory - 2:
            parts.append(example.format(at=f"0x{at:04X}"))
            at += length
    if memory > 2:
        parts.append(_CHECK.format(last=f"0x{memory - 3:04X}", at=f"0x{memory - 2:04X}"))
    return "\n".join(parts)
