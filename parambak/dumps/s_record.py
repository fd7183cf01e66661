"""Motorola S-records, read strictly and written plainly.

Source: M68000 Family Programmer's Reference Manual, Appendix C, S-Record Output Format.
`formats/s-record.md` says the whole of it, with what is refused and what is noted.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.dumps import faults
from parambak.dumps.bulk import IrregularError, Shape, byte_of, take_in_bulk
from parambak.dumps.dump import NO_END, ODD_END, Dump, Style, Terms
from parambak.dumps.placing import Painting, Placing, PlacingFaults, Target, shown
from parambak.dumps.srec_record import ADDRESS_BYTES, COUNTS, DATA, Record, parse
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
from parambak.memory.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.memory.image import Image

NAME: Final = "s-record"
TEXT_FAULTS: Final = TextFaults(
    "srec",
    faults.SREC_EMPTY,
    faults.SREC_ENCODING,
    faults.SREC_LINE_ENDS,
    faults.SREC_TOO_MANY_LINES,
)
PLACING_FAULTS: Final = PlacingFaults(
    faults.SREC_CONFLICT,
    faults.SREC_SAME_BYTE_TWICE,
    faults.SREC_SPAN,
    faults.SREC_OUTSIDE,
    faults.SREC_TOO_MANY_BYTES,
    faults.SREC_TOO_MANY_RANGES,
)
_PARTNER: Final = {1: 9, 2: 8, 3: 7}
"""The terminator of each data record's type (Appendix C)."""
_WIDTH_OF_HEAD: Final = {b"S1": 2, b"S2": 3, b"S3": 4}
_TYPE_OF_WIDTH: Final = {16: 1, 24: 2, 32: 3}


def read(data: bytes, *, terms: Terms = Terms()) -> Dump:  # noqa: B008 - Terms is immutable
    """Return the dump that `data`, a whole file, stands for.

    Raise DumpRefused, with the line, for everything that `formats/s-record.md` refuses.
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
    width = _WIDTH_OF_HEAD.get(line[:2])
    count = byte_of(line[2:4])
    if width is None or count is None or count <= width + 1:
        return None
    return Shape(line[:2], 1, width, count - width - 1, 0xFF)


def prepared(data: bytes, terms: Terms) -> Text:
    """Return the lines of a file: size, encoding and line ends judged."""
    check_size(data)
    check_terms(terms)
    check_plain(data, TEXT_FAULTS)
    return as_text(data, 1, TEXT_FAULTS)


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
        reading.findings.append(painting.finding("srec"))
    return reading.dump(image)


class _Overrun(NamedTuple):
    """A record whose data run over its address width, until its follower explains it."""

    kind: int
    address: int
    length: int
    line: int


class Reading:
    """What has been read of one file so far."""

    def __init__(self, text: Text, terms: Terms, target: Target) -> None:
        self.findings = list(text.findings)
        self.records = 0
        """Data records so far."""
        self._text = text
        self._terms = terms
        self._target = target
        self._types: set[int] = set()
        self._data_seen = False
        self._header: bytes | None = None
        self._count_line: int | None = None
        self._end: Record | None = None
        self._overrun: _Overrun | None = None
        self._notes: dict[str, list[int]] = {}

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
            self._note("srec-blank-line", number)
        elif self._end is not None:
            self._after_end(line, number)
        else:
            self._record(parse(line, number, self._text), number)

    def _record(self, record: Record, number: int) -> None:
        if record.type in DATA:
            self.data(record.type, record.address, record.data, number)
        elif record.type == 0:
            self._take_header(record, number)
        elif record.type in COUNTS:
            self._take_count(record, number)
        else:
            self._take_end(record, number)

    def takes_data(self) -> bool:
        """Return whether data records may still come."""
        return self._end is None

    def run(self, shape: Shape, address: int, data: bytes, number: int) -> None:
        """Place the data of records that go on from each other, `shape.length` bytes in each."""
        self.records += len(data) // shape.length - 1
        self.data(shape.head[1] - 48, address, data, number)

    def data(self, kind: int, address: int, data: bytes, number: int) -> None:
        """Place the data of one record of type S1, S2 or S3."""
        if self._count_line is not None:
            raise faults.SREC_DATA_AFTER_COUNT.error(
                line=number,
                expected=f"no data after the count in line {self._count_line}",
                found=f"S{kind} at {shown(address)}",
            )
        self.records += 1
        self._types.add(kind)
        if not data:
            self._note("srec-empty-record", number)
            return
        self._data_seen = True
        self._judge_overrun((kind, address))
        if address + len(data) > 1 << 8 * ADDRESS_BYTES[kind]:
            self._overrun = _Overrun(kind, address, len(data), number)
        self._target.put(address, data, number)

    def _judge_overrun(self, follower: tuple[int, int] | None) -> None:
        """Refuse data over their address width, unless what follows explains them.

        A common converter writes by default S1 up to and over 64 KiB, then S2 that goes on
        from it; or, where nothing is left to go on with, a matching count and no terminator.
        Neither says that the addresses end at 64 KiB, as S1 throughout with S9 does.
        """
        over = self._overrun
        if over is None:
            return
        if follower is None:
            explained = self._count_line is not None and self._end is None and over.kind < 3
        else:
            explained = follower[0] > over.kind and follower[1] == over.address + over.length
        if not explained:
            limit = 1 << 8 * ADDRESS_BYTES[over.kind]
            raise faults.SREC_WIDTH.error(
                line=over.line,
                offset=over.address,
                expected=f"at most {limit - over.address} bytes from {shown(over.address)}",
                found=f"{over.length} bytes",
            )
        self._note("srec-past-width", over.line)
        self._overrun = None

    def _take_header(self, record: Record, number: int) -> None:
        if self._header is not None:
            self._note("srec-header-twice", number)
            return
        self._header = record.data
        if self.records or self._count_line is not None:
            self._note("srec-header-late", number)
        if record.address:
            self._note("srec-header-address", number)

    def _take_count(self, record: Record, number: int) -> None:
        if self._count_line is not None:
            raise faults.SREC_COUNT_TWICE.error(
                line=number,
                expected=f"one count record, in line {self._count_line}",
                found=f"another, S{record.type}",
            )
        if record.data:
            raise faults.SREC_COUNT_LENGTH.error(
                line=number,
                expected=f"{ADDRESS_BYTES[record.type]} bytes of count",
                found=f"{len(record.data)} bytes more",
            )
        if record.address != self.records:
            raise faults.SREC_COUNT_WRONG.error(
                line=number,
                expected=f"{record.address} data records, as the count says",
                found=str(self.records),
            )
        self._count_line = number

    def _take_end(self, record: Record, number: int) -> None:
        if record.data:
            raise faults.SREC_END_DATA.error(
                line=number, expected="no data", found=f"{len(record.data)} bytes"
            )
        pairs = {_PARTNER[kind] for kind in self._types}
        if pairs and record.type not in pairs:
            if not self._terms.allows(ODD_END):
                raise faults.SREC_ODD_END.error(
                    line=number,
                    expected=" or ".join(f"S{kind}" for kind in sorted(pairs)),
                    found=f"S{record.type}",
                )
            self._note("srec-odd-end-accepted", number)
        self._end = record
        self._judge_overrun(None)

    def _after_end(self, line: bytes, number: int) -> None:
        two = line[:1] == b"S" and line[1:2] in (b"7", b"8", b"9")
        fault = faults.SREC_TWO_ENDS if two else faults.SREC_AFTER_END
        raise fault.error(line=number, expected="nothing after the terminator", found=clipped(line))

    def _note(self, code: str, number: int) -> None:
        self._notes.setdefault(code, []).append(number)

    def finish(self) -> None:
        """Judge the end of the file, and turn what was noted into findings."""
        self._judge_overrun(None)
        if not self._data_seen:
            raise faults.SREC_NO_DATA.error(expected="a data record (S1, S2, S3)", found="none")
        for code, numbers in self._notes.items():
            text = f"{_NOTES[code]}: {lines_shown(numbers)}"
            self.findings.append(Finding(code, text, line=numbers[0]))
        if self._end is None:
            self._without_end()
        if len(self._types) > 1:
            text = "data records of more than one width: " + ", ".join(
                f"S{kind}" for kind in sorted(self._types)
            )
            self.findings.append(Finding("srec-mixed-widths", text))
        if self._header is None:
            self.findings.append(Finding("srec-no-header", "there is no header record (S0)"))

    def _without_end(self) -> None:
        if self._count_line is not None:
            text = f"no terminator, but the count in line {self._count_line} matches"
            self.findings.append(Finding("srec-no-terminator", text, line=self._count_line))
            return
        number, line = self._text.last_line()
        if not self._terms.allows(NO_END):
            expected = " or ".join(f"S{_PARTNER[kind]}" for kind in sorted(self._types))
            raise faults.SREC_NO_END.error(line=number, expected=expected, found=clipped(line))
        text = "allowed: no terminator and no count, so nothing proves the end"
        self.findings.append(Finding("srec-no-end-accepted", text, line=number))

    def dump(self, image: Image) -> Dump:
        """Return the dump, once `finish` has judged the end."""
        findings = self.findings + left_out(image, self._terms, "srec")
        start = None if self._end is None else self._end.address
        return Dump(NAME, image, tuple(findings), header=self._header, start_address=start)


_NOTES: Final = {
    "srec-blank-line": "blank lines",
    "srec-empty-record": "data records that carry no bytes",
    "srec-past-width": "data over the record's address width, taken to go straight on",
    "srec-header-twice": "further header records (S0)",
    "srec-header-late": "the header record (S0) does not come first",
    "srec-header-address": "the header record's address is not zero",
    "srec-odd-end-accepted": "allowed: a terminator that pairs with no data record",
}


def write(image: Image, *, style: Style = Style()) -> bytes:  # noqa: B008 - Style is immutable
    """Return `image` as S-records: header, data, count, and a terminator with address 0.

    No record crosses a 64 KiB boundary. Raise CallRefused where the style does not fit.
    """
    ends = {bits: 1 << bits for bits in _TYPE_OF_WIDTH}
    width = check_style(image, style, NAME, ends, 252)
    return b"".join(line + style.line_end for line in _written(image, style, width))


def _written(image: Image, style: Style, width: int) -> Iterator[bytes]:
    kind = _TYPE_OF_WIDTH[width]
    records = 0
    yield _record_line(0, 0, style.header)
    for address, data in pieces(image, style.record_length or 16):
        records += 1
        yield _record_line(kind, address, data)
    yield _record_line(5 if records <= 0xFFFF else 6, records, b"")
    yield _record_line(_PARTNER[kind], 0, b"")


def _record_line(kind: int, address: int, data: bytes) -> bytes:
    width = ADDRESS_BYTES[kind]
    record = bytes((width + len(data) + 1,)) + address.to_bytes(width, "big") + data
    checksum = bytes((~sum(record) & 0xFF,))
    return b"S%d" % kind + (record + checksum).hex().upper().encode()
