"""Intel HEX, read strictly and written plainly.

Source: Intel, Hexadecimal Object File Format Specification, Revision A, 1/6/88.
`formats/intel-hex.md` specifies it, with the refusals and notes.
"""

from __future__ import annotations

import re
from binascii import Error, unhexlify
from typing import TYPE_CHECKING, ClassVar, Final, NamedTuple

from parambak.dumps import faults
from parambak.dumps.bulk import Shape, byte_of
from parambak.dumps.dump import NO_END, WRAP, Dump, Style, Terms
from parambak.dumps.format import Format, Judge
from parambak.dumps.judges import by_bincopy, by_intelhex, portions_of
from parambak.dumps.placing import Destination, shown
from parambak.dumps.preparing import Marks, not_a_record
from parambak.dumps.records import RecordParser, read_records, text_of
from parambak.dumps.text import Text, clipped, first_line
from parambak.dumps.writing import Width, check_style, pieces
from parambak.memory.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from parambak.errors import ParambakError
    from parambak.memory.image import Image

NAME: Final = "intel-hex"
_SEGMENT: Final = 0x1_0000
_TOP: Final = 0x1_0000_0000
MARKS: Final = Marks(
    name="a colon",
    first=b":",
    line=re.compile(rb"(?:\A|(?<=[\r\n])):"),
    record=re.compile(rb":[0-9A-Fa-f]{10,}"),
)
_SEGMENT_BASE: Final = re.compile(rb"(?:\A|[\r\n]):[0-9A-Fa-f]{6}02")
_WIDTHS: Final = {16: Width(_SEGMENT, 255), 32: Width(_TOP, 255), 20: Width(0x10_0000, 255)}
_END_RECORD: Final = b":00000001FF"
_FIRST_RECORD: Final = re.compile(rb":([0-9A-Fa-f]{2})((?:[0-9A-Fa-f]{2}){4,})")
_NOT_ASKED: Final = {
    "hex-wrap-accepted": "the libraries place data that wrap where the standard does not",
    "hex-past-64k": "the standard does not define where data past 0xFFFF go without a base record",
    "hex-same-byte-twice-accepted": "the libraries refuse an address that occurs twice",
}
_DIGITS: Final = b"0123456789ABCDEFabcdef"
_FIXED: Final = 5
"""Bytes of a record without its data: length, address (two), type and checksum."""


def read(data: bytes, *, terms: Terms = Terms()) -> Dump:  # noqa: B008 - Terms is immutable
    """Return the dump that `data`, a whole file, stands for.

    Raise DumpRefused, with the line, for everything that `formats/intel-hex.md` refuses.
    """
    return read_records(Parser, data, terms)


class Parser(RecordParser):
    """What has been read of one file of Intel HEX so far."""

    format = NAME
    faults = faults.HEX
    marks = MARKS
    note_texts: ClassVar = {
        "hex-blank-line": "blank lines",
        "hex-empty-record": "data records of length 0",
        "hex-past-64k": "no base record, and data that go past 0xFFFF: the addresses count on",
        "hex-wrap-accepted": "allowed: data that wrap, placed by the standard",
        "hex-base-changes": "type 04 after type 02, the base set to 0 right before",
        "hex-end-address": "the end record's address is not zero",
        "hex-zero-field": "records of type 02 to 05 with an address field that is not zero",
    }

    def __init__(self, text: Text, terms: Terms, destination: Destination) -> None:
        super().__init__(text, terms, destination)
        self.base: int | None = None
        """The last base address; None before the first."""
        self.base_type: int | None = None
        """2 or 4: the kind of the last base record; None before the first."""
        self._ended = False
        self._start: tuple[int, int] | None = None
        self._base_reset = False
        self._wraps: bool | None = None

    @staticmethod
    def shape_of(line: bytes) -> Shape | None:
        """Return the shape of a stretch that begins with the data record on `line`."""
        length = byte_of(line[1:3])
        if line[:1] != b":" or line[7:9] != b"00" or not length:
            return None
        return Shape(b":", 1, 2, length, 0x00, kind=b"\x00")

    @property
    def ended(self) -> bool:
        """Return whether the end record was met."""
        return self._ended

    def take_record(self, line: bytes, number: int) -> None:
        """Take the record on a line; refuse a line that is not one."""
        record = _parse(line, number, self._text)
        if record.type == 0:
            self.count(len(record.data))
            self.data(record.offset, record.data, number)
        elif record.type == 1:
            self._end(record, number)
        elif record.type in (2, 4):
            self._base(record, number)
        else:
            self._start_address(record, number)

    def take_stretch(self, shape: Shape, address: int, data: bytes, number: int) -> None:
        """Place the data of records that go on from each other."""
        self.count(shape.length, len(data) // shape.length)
        self.data(address, data, number)

    def data(self, offset: int, data: bytes, number: int) -> None:
        """Place the data of one record at `offset` from the base."""
        self._base_reset = False
        if not data:
            self.note("hex-empty-record", number)
            return
        self._data_seen = True
        address = (self.base or 0) + offset
        end = offset + len(data)
        if end > _SEGMENT and self._by_segment(number):
            self._wrap(address, data, _SEGMENT - offset, address - offset, number)
        elif address + len(data) > _TOP:
            self._wrap(address, data, _TOP - address, 0, number)
        else:
            self._destination.put(address, data, number)

    def _by_segment(self, number: int) -> bool:
        """Return whether data wrap at a segment's end: they do if the file uses type 02."""
        if self.base_type is None:
            if self._wraps is None:
                self._wraps = bool(_SEGMENT_BASE.search(self._text.body))
            if not self._wraps:
                self.note("hex-past-64k", number)
            return self._wraps
        return self.base_type == 2

    def _wrap(self, address: int, data: bytes, fits: int, back_to: int, number: int) -> None:
        if not self._terms.allows(WRAP):
            raise faults.HEX_WRAP.error(
                line=number,
                offset=address,
                expected=f"at most {fits} bytes from {shown(address)}",
                found=f"{len(data)} bytes",
            )
        self.note("hex-wrap-accepted", number)
        self._destination.put(address, data[:fits], number)
        self._destination.put(back_to, data[fits:], number)

    def _end(self, record: Record, number: int) -> None:
        if record.data:
            raise faults.HEX_END_DATA.error(
                line=number, expected="length 00", found=f"length {len(record.data):02X}"
            )
        if record.offset:
            self.note("hex-end-address", number)
        self._ended = True

    def _base(self, record: Record, number: int) -> None:
        if len(record.data) != 2:
            raise faults.HEX_BASE_LENGTH.error(
                line=number, expected="length 02", found=f"length {len(record.data):02X}"
            )
        if self.base_type not in (None, record.type):
            self._other_base(record, number)
        self._zero_field(record, number)
        self._base_reset = record.type == 2 and not any(record.data)
        self.base_type = record.type
        self.base = int.from_bytes(record.data, "big") << (4 if record.type == 2 else 16)

    def _other_base(self, record: Record, number: int) -> None:
        """Refuse types 02 and 04 in one file, unless a type 02 of 0 stands right before type 04.

        A common converter writes so across 1 MiB. Then those readers that let the last base
        record hold, and those that add the bases of both types, agree where each byte goes.
        """
        if not self._base_reset:
            raise faults.HEX_BOTH_BASES.error(
                line=number,
                expected=f"type {self.base_type:02X} throughout",
                found=f"type {record.type:02X}",
            )
        self.note("hex-base-changes", number)

    def _start_address(self, record: Record, number: int) -> None:
        if len(record.data) != 4:
            raise faults.HEX_START_LENGTH.error(
                line=number, expected="length 04", found=f"length {len(record.data):02X}"
            )
        self._zero_field(record, number)
        start = (record.type, int.from_bytes(record.data, "big"))
        if self._start is not None and self._start != start:
            raise faults.HEX_TWO_STARTS.error(
                line=number, expected=_start_shown(self._start), found=_start_shown(start)
            )
        self._start = start

    def _zero_field(self, record: Record, number: int) -> None:
        if record.offset:
            self.note("hex-zero-field", number)

    def judge_end(self) -> None:
        """Judge the end of the file, and turn what was noted into findings."""
        number, line = self._text.last_line()
        if not self.ended and not self._terms.allows(NO_END):
            raise faults.HEX.no_end.error(
                line=number, expected=_END_RECORD.decode(), found=clipped(line)
            )
        if not self._data_seen:
            raise faults.HEX.no_data.error(expected="a data record (type 00)", found="none")
        self.findings += self.notes()
        if not self.ended:
            text = "allowed: no end record, so nothing proves the end"
            self.findings.append(Finding("hex-no-end-accepted", text, line=number))

    def dump(self, image: Image) -> Dump:
        """Return the dump, once the end was judged."""
        start = None if self._start is None else self._start[1]
        return Dump(NAME, image, self.all_findings(image), start_address=start)


class Record(NamedTuple):
    """Type, load offset (0 to 0xFFFF) and data of one record."""

    type: int
    offset: int
    data: bytes


def _parse(line: bytes, number: int, text: Text) -> Record:
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
        return faults.HEX.checksum.error(
            line=number, expected=f"{right:02X}", found=f"{record[-1]:02X}"
        )
    return faults.HEX_TYPE.error(line=number, expected="00 to 05", found=f"{record[3]:02X}")


def _shape_flaw(line: bytes, number: int, text: Text) -> ParambakError | None:
    if line[:1] != b":":
        return not_a_record(line, number, text, faults.HEX, MARKS)
    rest = line[1:].lstrip(_DIGITS)
    given = line[1 : len(line) - len(rest)]
    needed = 2 * (int(given[:2], 16) + _FIXED) if len(given) >= 2 else 2 * _FIXED
    if b":" in rest:
        return faults.HEX_TWO_RECORDS.error(
            line=number, expected="one record on a line", found=clipped(line)
        )
    if rest and len(given) != needed:
        return faults.HEX.digit.error(
            line=number,
            expected="hexadecimal digits",
            found=f"'{clipped(rest[:1])}' in column {2 + len(given)}",
        )
    if rest:
        fault = faults.HEX.text_after if rest.strip(b" \t") else faults.HEX.trailing_blanks
        return fault.error(line=number, expected="nothing after the checksum", found=clipped(rest))
    return _length_flaw(given, needed, number, text)


def _length_flaw(given: bytes, needed: int, number: int, text: Text) -> ParambakError | None:
    if len(given) == needed:
        return None
    expected, found = f"{needed} digits after the colon", f"{len(given)}"
    if len(given) < needed and text.last_line()[0] == number:
        return faults.HEX.cut_short.error(line=number, expected=expected, found=found)
    if len(given) % 2:
        return faults.HEX.odd_digits.error(line=number, expected=expected, found=found)
    if len(given) < 2 * _FIXED:
        return faults.HEX_LENGTH.error(line=number, expected=expected, found=found)
    return faults.HEX_LENGTH.error(
        line=number,
        expected=f"{(needed - 2 * _FIXED) // 2} data bytes",
        found=f"{(len(given) - 2 * _FIXED) // 2}",
    )


def _start_shown(start: tuple[int, int]) -> str:
    return f"type {start[0]:02X}, {start[1]:08X}"


def write(image: Image, *, style: Style = Style()) -> bytes:  # noqa: B008 - Style is immutable
    """Return `image` as Intel HEX.

    Base records stand only where the address width asks for them; no record crosses a
    64 KiB boundary. Raise CallRefused where the style does not fit the image.
    """
    width = check_style(image, style, _WIDTHS, NAME)
    return b"".join(line + style.line_end for line in _written(image, style, width))


def _written(image: Image, style: Style, width: int) -> Iterator[bytes]:
    base = 0
    for address, data in pieces(image, style.record_length or 16):
        upper = address >> 16
        if upper != base:
            base = upper
            if width == 32:
                yield _record_line(0, 4, base.to_bytes(2, "big"))
            else:
                yield _record_line(0, 2, (base << 12).to_bytes(2, "big"))
        yield _record_line(address & 0xFFFF, 0, data)
    yield _END_RECORD


def _record_line(offset: int, kind: int, data: bytes) -> bytes:
    record = bytes((len(data), offset >> 8, offset & 0xFF, kind)) + data
    return b":" + (record + bytes((-sum(record) & 0xFF,))).hex().upper().encode()


def _begins(data: bytes) -> bool:
    record = _FIRST_RECORD.fullmatch(first_line(data))
    return record is not None and len(record[2]) == 2 * (int(record[1], 16) + 4)


def _judge(data: bytes, dump: Dump) -> Judge | str:
    codes = {finding.code for finding in dump.findings}
    for code, why in _NOT_ASKED.items():
        if code in codes:
            return why
    portions = _with_base(text_of(Parser, data, Terms(accepted=dump.used)).lines())
    if "hex-zero-field" in codes:
        return by_bincopy(portions, "add_ihex")
    return by_intelhex(portions)


def _with_base(lines: Iterable[bytes]) -> Iterator[list[str]]:
    """Yield portions that each begin with the base record in force.

    Start addresses (types 03 and 05) hold no data and are left out: stated twice alike,
    intelhex refuses them. So are data records that carry no bytes: bincopy may refuse those.
    """
    base: list[str] = []
    for portion in portions_of(lines):
        records = [
            line
            for line in portion
            if line[7:9] not in ("03", "05") and (line[7:9] != "00" or line[1:3] != "00")
        ]
        yield base + records
        base = next(([line] for line in reversed(records) if line[7:9] in ("02", "04")), base)


FORMAT: Final = Format(
    name=NAME,
    label="Intel HEX",
    endings=("hex", "ihx", "ihex"),
    contents="Intel HEX",
    read=read,
    write=write,
    judge=_judge,
    begins=_begins,
    parser=Parser,
    widths=tuple(_WIDTHS),
    trace=re.compile(rb"(?m)^:[0-9A-Fa-f]{8}"),
)
