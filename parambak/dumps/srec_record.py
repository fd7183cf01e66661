"""One S-record: its parts, or what is wrong with its line."""

from __future__ import annotations

from binascii import Error, unhexlify
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.dumps import faults
from parambak.dumps.text import clipped

if TYPE_CHECKING:
    from parambak.dumps.text import Text
    from parambak.errors import ParambakError

ADDRESS_BYTES: Final = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
"""Width of the address field (in S5 and S6: of the count) by type."""
DATA: Final = frozenset({1, 2, 3})
COUNTS: Final = frozenset({5, 6})
_WIDTH_OF_DIGIT: Final = {48 + kind: width for kind, width in ADDRESS_BYTES.items()}
_DIGITS: Final = b"0123456789ABCDEFabcdef"


class Record(NamedTuple):
    """Type (0 to 9), address or count, and data of one record."""

    type: int
    address: int
    data: bytes


def parse(line: bytes, number: int, text: Text) -> Record:
    """Return the record on `line`, the `number`-th of the file; refuse any flaw in it."""
    if line[:1] == b"S" and len(line) > 2:
        width = _WIDTH_OF_DIGIT.get(line[1], 0)
        try:
            record = unhexlify(line[2:])
        except Error:
            record = b""
        if (
            width
            and len(record) >= width + 2
            and len(record) == record[0] + 1
            and sum(record) & 0xFF == 0xFF
        ):
            address = int.from_bytes(record[1 : 1 + width], "big")
            return Record(line[1] - 48, address, record[1 + width : -1])
    raise _flaw(line, number, text)


def _flaw(line: bytes, number: int, text: Text) -> ParambakError:
    """Return the fault of a line that is no sound record, the outermost flaw first."""
    if line[:1] != b"S":
        return faults.SREC_NOT_A_RECORD.error(
            line=number, expected="a record, beginning with S", found=clipped(line)
        )
    kind = line[1:2]
    last = text.last_line()[0] == number
    if not kind and last:
        return faults.SREC_CUT_SHORT.error(line=number, expected="a type", found="nothing")
    if not kind.isdigit() or int(kind) not in ADDRESS_BYTES:
        return faults.SREC_TYPE.error(
            line=number, expected="S0 to S3 or S5 to S9", found=clipped(line[:2])
        )
    width = ADDRESS_BYTES[int(kind)]
    shape = _shape_flaw(line, number, width, last=last)
    if shape is not None:
        return shape
    record = unhexlify(line[2:])
    right = ~sum(record[:-1]) & 0xFF
    return faults.SREC_CHECKSUM.error(
        line=number, expected=f"{right:02X}", found=f"{record[-1]:02X}"
    )


def _shape_flaw(line: bytes, number: int, width: int, *, last: bool) -> ParambakError | None:
    rest = line[2:].lstrip(_DIGITS)
    given = line[2 : len(line) - len(rest)]
    count = int(given[:2], 16) if len(given) >= 2 else None
    needed = 2 * ((width + 1 if count is None else count) + 1)
    if rest and len(given) != needed:
        return faults.SREC_DIGIT.error(
            line=number,
            expected="hexadecimal digits",
            found=f"'{clipped(rest[:1])}' in column {3 + len(given)}",
        )
    if rest:
        return faults.SREC_TEXT_AFTER.error(
            line=number, expected="nothing after the checksum", found=clipped(rest)
        )
    if len(given) == needed and count is not None and count >= width + 1:
        return None
    return _length_flaw(len(given), needed, count, (number, width), last=last)


def _length_flaw(
    given: int, needed: int, count: int | None, at: tuple[int, int], *, last: bool
) -> ParambakError:
    number, width = at
    if given < needed and last:
        fault, expected, found = faults.SREC_CUT_SHORT, f"{needed} digits after the type", given
    elif given % 2:
        fault, expected, found = faults.SREC_ODD_DIGITS, f"{needed} digits after the type", given
    elif count is not None and count < width + 1:
        fault, expected, found = faults.SREC_SHORT_COUNT, f"a count of {width + 1} or more", count
    else:
        fault, expected = faults.SREC_LENGTH, f"{needed // 2 - 1} bytes after the count"
        found = max(0, given // 2 - 1)
    return fault.error(line=number, expected=expected, found=str(found))
