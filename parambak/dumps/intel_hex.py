"""Intel HEX, read strictly and written plainly.

Source: Intel, Hexadecimal Object File Format Specification, Revision A, 1/6/88.
`formats/intel-hex.md` says the whole of it, with what is refused and what is noted.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from parambak.dumps import faults
from parambak.dumps.bulk import IrregularError, Shape, byte_of, take_in_bulk
from parambak.dumps.dump import TEXT_AROUND, WRAP, Dump, Style, Terms
from parambak.dumps.hex_record import RECORD_IN_TEXT, Record, parse
from parambak.dumps.limits import PADDING_BLOCK
from parambak.dumps.placing import Painting, Placing, PlacingFaults, Target, shown
from parambak.dumps.text import (
    Text,
    TextFaults,
    as_text,
    check_plain,
    check_size,
    check_terms,
    clipped,
    left_out,
    lines_shown,
)
from parambak.dumps.writing import check_style, pieces
from parambak.errors import DumpRefused
from parambak.memory.counted import counted
from parambak.memory.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.memory.image import Image

NAME: Final = "intel-hex"
TEXT_FAULTS: Final = TextFaults(
    "hex",
    faults.HEX_EMPTY,
    faults.HEX_ENCODING,
    faults.HEX_LINE_ENDS,
    faults.HEX_TOO_MANY_LINES,
)
PLACING_FAULTS: Final = PlacingFaults(
    faults.HEX_CONFLICT,
    faults.HEX_SAME_BYTE_TWICE,
    faults.HEX_SPAN,
    faults.HEX_OUTSIDE,
    faults.HEX_TOO_MANY_BYTES,
    faults.HEX_TOO_MANY_RANGES,
)
_SEGMENT: Final = 0x1_0000
_TOP: Final = 0x1_0000_0000
_FIRST_COLON: Final = re.compile(rb"(?:\A|[\r\n]):")
_LINE_END: Final = re.compile(rb"[\r\n]")
_SEGMENT_BASE: Final = re.compile(rb"(?:\A|[\r\n]):[0-9A-Fa-f]{6}02")
_END_RECORD: Final = b":00000001FF"


def read(data: bytes, *, terms: Terms = Terms()) -> Dump:  # noqa: B008 - Terms is immutable
    """Return the dump that `data`, a whole file, stands for.

    Raise DumpRefused, with the line, for everything that `formats/intel-hex.md` refuses.
    """
    text = prepared(data, terms)
    return read_in_bulk(text, terms) or read_by_record(text, terms)


def read_in_bulk(text: Text, terms: Terms) -> Dump | None:
    """Read regular stretches at once; None where anything is odd: it is then read by record."""
    placing = Placing(PLACING_FAULTS, terms)
    reading = Reading(text, terms, placing)
    try:
        take_in_bulk(text, reading, _shape)
        image = placing.image()
    except (IrregularError, DumpRefused):
        return None
    return None if image is None else reading.dump(image)


def _shape(line: bytes) -> Shape | None:
    """Return the shape of a stretch that begins with the data record on `line`."""
    length = byte_of(line[1:3])
    if line[:1] != b":" or line[7:9] != b"00" or not length:
        return None
    return Shape(b":", 1, 2, length, 0x00, kind=b"\x00")


def prepared(data: bytes, terms: Terms) -> Text:
    """Return the lines of a file: size, encoding, surroundings and line ends judged."""
    check_size(data)
    check_terms(terms)
    check_plain(data, TEXT_FAULTS)
    body, first, findings = _without_surroundings(data, terms)
    text = as_text(body, first, TEXT_FAULTS)
    return Text(text.body, text.line_end, text.first, tuple(findings) + text.findings)


def read_by_record(text: Text, terms: Terms) -> Dump:
    """Read line by line: the judge of the bulk path, and the one that names a fault's line."""
    placing = Placing(PLACING_FAULTS, terms)
    reading = Reading(text, terms, placing)
    reading.take_all()
    image = placing.image()
    if image is None:
        painting = Painting(placing.ranges(), PLACING_FAULTS, terms)
        reading = Reading(text, terms, painting)
        reading.take_all()
        image = painting.image()
        reading.findings.append(painting.finding("hex"))
    return reading.dump(image)


class Reading:
    """What has been read of one file so far."""

    def __init__(self, text: Text, terms: Terms, target: Target) -> None:
        self.findings = list(text.findings)
        self.base: int | None = None
        """The last base address; None before the first."""
        self.base_type: int | None = None
        """2 or 4: the kind of the last base record; None before the first."""
        self.ended = False
        self._text = text
        self._terms = terms
        self._target = target
        self._start: tuple[int, int] | None = None
        self._data_seen = False
        self._base_reset = False
        self._counts: dict[str, list[int]] = {}
        self._wraps: bool | None = None

    def take_all(self) -> None:
        """Take every line, and judge the end."""
        number = self._text.first
        for line in self._text.lines():
            self.take(line, number)
            number += 1
        self.finish()

    def take(self, line: bytes, number: int) -> None:
        """Take one line, the `number`-th of the file."""
        if not line.strip(b" \t"):
            self._count("hex-blank-line", number)
        elif self.ended:
            self._after_end(line, number)
        else:
            self._record(parse(line, number, self._text), number)

    def _record(self, record: Record, number: int) -> None:
        if record.type == 0:
            self.data(record.offset, record.data, number)
        elif record.type == 1:
            self._end(record, number)
        elif record.type in (2, 4):
            self._base(record, number)
        else:
            self._start_address(record, number)

    def takes_data(self) -> bool:
        """Return whether data records may still come."""
        return not self.ended

    def run(self, shape: Shape, offset: int, data: bytes, number: int) -> None:
        """Place the data of records that go on from each other, `shape.length` bytes in each."""
        del shape
        self.data(offset, data, number)

    def data(self, offset: int, data: bytes, number: int) -> None:
        """Place the data of one record at `offset` from the base."""
        self._base_reset = False
        if not data:
            self._count("hex-empty-record", number)
            return
        self._data_seen = True
        address = (self.base or 0) + offset
        end = offset + len(data)
        if end > _SEGMENT and self._by_segment(number):
            self._wrap(address, data, _SEGMENT - offset, address - offset, number)
        elif address + len(data) > _TOP:
            self._wrap(address, data, _TOP - address, 0, number)
        else:
            self._target.put(address, data, number)

    def _by_segment(self, number: int) -> bool:
        """Say whether data wrap at a segment's end: so where the file uses type 02."""
        if self.base_type is None:
            if self._wraps is None:
                self._wraps = bool(_SEGMENT_BASE.search(self._text.body))
            if not self._wraps:
                self._count("hex-past-64k", number)
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
        self._count("hex-wrap-accepted", number)
        self._target.put(address, data[:fits], number)
        self._target.put(back_to, data[fits:], number)

    def _end(self, record: Record, number: int) -> None:
        if record.data:
            raise faults.HEX_END_DATA.error(
                line=number, expected="length 00", found=f"length {len(record.data):02X}"
            )
        if record.offset:
            self._count("hex-end-address", number)
        self.ended = True

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
        self._count("hex-base-changes", number)

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
            self._count("hex-zero-field", number)

    def _after_end(self, line: bytes, number: int) -> None:
        if line.startswith(b":") or RECORD_IN_TEXT.search(line):
            raise faults.HEX_AFTER_END.error(
                line=number, expected="nothing after the end record", found=clipped(line)
            )
        raise faults.HEX_TEXT_AROUND.error(
            line=number, expected="nothing after the end record", found=clipped(line)
        )

    def _count(self, code: str, number: int) -> None:
        self._counts.setdefault(code, []).append(number)

    def finish(self) -> None:
        """Judge the end of the file, and turn what was counted into findings."""
        if not self.ended:
            number, line = self._text.last_line()
            raise faults.HEX_NO_END.error(
                line=number, expected=_END_RECORD.decode(), found=clipped(line)
            )
        if not self._data_seen:
            raise faults.HEX_NO_DATA.error(expected="a data record (type 00)", found="none")
        for code, numbers in self._counts.items():
            text = f"{_NOTES[code]}: {lines_shown(numbers)}"
            self.findings.append(Finding(code, text, line=numbers[0]))

    def dump(self, image: Image) -> Dump:
        """Return the dump, once `finish` has judged the end."""
        findings = self.findings + left_out(image, self._terms, "hex")
        start = None if self._start is None else self._start[1]
        return Dump(NAME, image, tuple(findings), start_address=start)


_NOTES: Final = {
    "hex-blank-line": "blank lines",
    "hex-empty-record": "data records of length 0",
    "hex-past-64k": "no base record, and data that go past 0xFFFF, taken to go straight on",
    "hex-wrap-accepted": "allowed: data that wrap, placed as the standard says",
    "hex-base-changes": "type 04 after type 02, the base set to 0 right before",
    "hex-end-address": "the end record's address is not zero",
    "hex-zero-field": "records of type 02 to 05 whose address field is not zero",
}


def _start_shown(start: tuple[int, int]) -> str:
    return f"type {start[0]:02X}, {start[1]:08X}"


def _without_surroundings(data: bytes, terms: Terms) -> tuple[bytes, int, list[Finding]]:
    """Return the records, the first line's number, and what stood around them.

    Ctrl-Z or 00 after the end record is what old programs fill a block with; any other
    text is taken off only where that is allowed.
    """
    body = data.rstrip(b"\x1a\x00")
    findings = []
    if len(body) < len(data):
        padding = len(data) - len(body)
        most = (len(body) // PADDING_BLOCK + 1) * PADDING_BLOCK - len(body)
        if padding > most:
            raise faults.HEX_PADDING.error(
                offset=len(body), expected=f"at most {most} bytes", found=f"{padding} bytes"
            )
        text = f"{counted(padding, 'byte')} of 1A or 00 after the end, up to a block's boundary"
        findings.append(Finding("hex-padding-found", text, offset=len(body)))
    if not terms.allows(TEXT_AROUND):
        return body, 1, findings
    return _without_text(body, findings)


def _without_text(body: bytes, findings: list[Finding]) -> tuple[bytes, int, list[Finding]]:
    colon = _FIRST_COLON.search(body)
    if colon is None:
        return body, 1, findings
    first = colon.end() - 1
    last = max(body.rfind(b"\n:"), body.rfind(b"\r:")) + 1
    line_end = _LINE_END.search(body, last)
    end = line_end.start() if line_end else len(body)
    before, after = body[:first], body[end:]
    mark = b"\n" if b"\n" in body else b"\r"
    for part, start_line in ((before, 1), (after, 1 + body.count(mark, 0, end))):
        hidden = RECORD_IN_TEXT.search(part)
        if hidden:
            line = start_line + part.count(mark, 0, hidden.start())
            raise faults.HEX_TEXT_BEFORE.error(
                line=line, expected="a record at the start of its line", found=clipped(hidden[0])
            )
    sizes = len(before.strip()), len(after.strip())
    if any(sizes):
        text = (
            f"allowed: {sizes[0]} bytes of text before the first record and "
            f"{sizes[1]} after the last left aside"
        )
        findings.append(Finding("hex-text-around-accepted", text))
    return body[first:end], 1 + before.count(mark), findings


def write(image: Image, *, style: Style = Style()) -> bytes:  # noqa: B008 - Style is immutable
    """Return `image` as Intel HEX.

    Base records stand only where the address width asks for them; no record crosses a
    64 KiB boundary. Raise CallRefused where the style does not fit the image.
    """
    width = check_style(image, style, NAME, {16: _SEGMENT, 32: _TOP, 20: 0x10_0000}, 255)
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
