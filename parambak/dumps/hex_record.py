"""One Intel HEX record: its parts, or what is wrong with its line."""

from __future__ import annotations

import re
from binascii import Error, unhexlify
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.dumps import faults
from parambak.dumps.text import clipped

if TYPE_CHECKING:
    from parambak.dumps.text import Text
    from parambak.errors import ParambakError

RECORD_IN_TEXT: Final = re.compile(rb":[0-9A-Fa-f]{10,}")
"""What betrays a record among other text."""
_DIGITS: Final = b"0123456789ABCDEFabcdef"
_FIXED: Final = 5
"""Bytes of a record beside its data: length, address (two), type and checksum."""


class Record(NamedTuple):
    """Type, load offset (0 to 0xFFFF) and data of one record."""

    type: int
    offset: int
    data: bytes


def parse(line: bytes, number: int, text: Text) -> Record:
    """Return the record on `line`, the `number`-th of the file; refuse any flaw in it."""
    if line[:1] == b":":
        try:
            record = unhexlify(line[1:])
        except Error:
            record = b""
        if (
            len(record) >= _FIXED
            and len(record) == record[0] + _FIXED
            and not sum(record) & 0xFF
            and record[3] <= 5
        ):
            return Record(record[3], record[1] << 8 | record[2], record[4:-1])
    raise _flaw(line, number, text)


def _flaw(line: bytes, number: int, text: Text) -> ParambakError:
    """Return the fault of a line that is no sound record, the outermost flaw first."""
    shape = _shape_flaw(line, number, text)
    if shape is not None:
        return shape
    record = unhexlify(line[1:])
    right = -sum(record[:-1]) & 0xFF
    if right != record[-1]:
        return faults.HEX_CHECKSUM.error(
            line=number, expected=f"{right:02X}", found=f"{record[-1]:02X}"
        )
    return faults.HEX_TYPE.error(line=number, expected="00 to 05", found=f"{record[3]:02X}")


def _shape_flaw(line: bytes, number: int, text: Text) -> ParambakError | None:
    if line[:1] != b":":
        return _no_colon(line, number, text)
    rest = line[1:].lstrip(_DIGITS)
    given = line[1 : len(line) - len(rest)]
    needed = 2 * (int(given[:2], 16) + _FIXED) if len(given) >= 2 else 2 * _FIXED
    if b":" in rest:
        return faults.HEX_TWO_RECORDS.error(
            line=number, expected="one record on a line", found=clipped(line)
        )
    if rest and len(given) != needed:
        return faults.HEX_DIGIT.error(
            line=number,
            expected="hexadecimal digits",
            found=f"'{clipped(rest[:1])}' in column {2 + len(given)}",
        )
    if rest:
        return faults.HEX_TEXT_AFTER.error(
            line=number, expected="nothing after the checksum", found=clipped(rest)
        )
    return _length_flaw(given, needed, number, text)


def _length_flaw(given: bytes, needed: int, number: int, text: Text) -> ParambakError | None:
    if len(given) == needed:
        return None
    expected, found = f"{needed} digits after the colon", f"{len(given)}"
    if len(given) < needed and text.last_line()[0] == number:
        return faults.HEX_CUT_SHORT.error(line=number, expected=expected, found=found)
    if len(given) % 2:
        return faults.HEX_ODD_DIGITS.error(line=number, expected=expected, found=found)
    if len(given) < 2 * _FIXED:
        return faults.HEX_LENGTH.error(line=number, expected=expected, found=found)
    return faults.HEX_LENGTH.error(
        line=number,
        expected=f"{(needed - 2 * _FIXED) // 2} data bytes",
        found=f"{(len(given) - 2 * _FIXED) // 2}",
    )


def _no_colon(line: bytes, number: int, text: Text) -> ParambakError:
    expected = "a record, beginning with a colon"
    if b":" in line:
        return faults.HEX_TEXT_BEFORE.error(line=number, expected=expected, found=clipped(line))
    lines = iter(text.lines())
    before = [next(lines) for _ in range(number - text.first)]
    around = not any(each[:1] == b":" for each in before)
    if not around:
        around = not any(each[:1] == b":" for each in lines)
    fault = faults.HEX_TEXT_AROUND if around else faults.HEX_NOT_A_RECORD
    return fault.error(line=number, expected=expected, found=clipped(line))
