"""Motorola S-records, read strictly and written plainly.

Source: M68000 Family Programmer's Reference Manual, Appendix C, S-Record Output Format.
`formats/s-record.md` specifies it, with the refusals and notes.
"""

from __future__ import annotations

import re
from binascii import Error, unhexlify
from typing import TYPE_CHECKING, ClassVar, Final, NamedTuple

from parambak.dumps import faults
from parambak.dumps.bulk import Shape, byte_of
from parambak.dumps.dump import NO_END, ODD_END, Dump, Style, Terms
from parambak.dumps.format import Format, Judge
from parambak.dumps.judges import by_bincopy, portions_of
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

NAME: Final = "s-record"
ADDRESS_BYTES: Final = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
"""Width of the address field (in S5 and S6: of the count) by type."""
DATA: Final = frozenset({1, 2, 3})
COUNTS: Final = frozenset({5, 6})
_WIDTH_OF_DIGIT: Final = {48 + kind: width for kind, width in ADDRESS_BYTES.items()}
_DIGITS: Final = b"0123456789ABCDEFabcdef"
_PARTNER: Final = {1: 9, 2: 8, 3: 7}
"""The terminator of each data record's type (Appendix C)."""
_WIDTH_OF_HEAD: Final = {b"S1": 2, b"S2": 3, b"S3": 4}
_TYPE_OF_WIDTH: Final = {16: 1, 24: 2, 32: 3}
_WIDTHS: Final = {16: Width(1 << 16, 252), 24: Width(1 << 24, 251), 32: Width(1 << 32, 250)}
MARKS: Final = Marks(
    name="S",
    first=b"S",
    line=re.compile(rb"(?:\A|(?<=[\r\n]))S(?:[0-9]|(?=[\r\n]|\Z))"),
    record=re.compile(rb"[Ss][0-9][0-9A-Fa-f]{8,}"),
)
_LIKE_A_RECORD: Final = re.compile(rb"S(?:[0-9].*|.?[0-9A-Fa-f]*)", re.DOTALL)
"""What is taken as a record, sound or not; other lines that begin with S are text."""
_FIRST_RECORD: Final = re.compile(rb"[Ss][0-9]([0-9A-Fa-f]{2})((?:[0-9A-Fa-f]{2})+)")


def read(data: bytes, *, terms: Terms = Terms()) -> Dump:  # noqa: B008 - Terms is immutable
    """Return the dump that `data`, a whole file, stands for.

    Raise DumpRefused, with the line, for everything that `formats/s-record.md` refuses.
    """
    return read_records(Parser, data, terms)


class _Overrun(NamedTuple):
    """A record whose data run over its address width, until its follower explains it."""

    kind: int
    address: int
    length: int
    line: int


class Parser(RecordParser):
    """What has been read of one file of S-records so far."""

    format = NAME
    faults = faults.SREC
    marks = MARKS
    note_texts: ClassVar = {
        "srec-blank-line": "blank lines",
        "srec-empty-record": "data records that carry no bytes",
        "srec-past-width": "data past the record's address width: the addresses count on",
        "srec-header-twice": "further header records (S0)",
        "srec-header-late": "the header record (S0) does not come first",
        "srec-header-address": "the header record's address is not zero",
        "srec-odd-end-accepted": "allowed: a terminator whose type belongs to no data record",
    }

    def __init__(self, text: Text, terms: Terms, destination: Destination) -> None:
        super().__init__(text, terms, destination)
        self.records = 0
        """Data records so far."""
        self._types: set[int] = set()
        self._header: bytes | None = None
        self._count_line: int | None = None
        self._end: Record | None = None
        self._overrun: _Overrun | None = None

    @staticmethod
    def shape_of(line: bytes) -> Shape | None:
        """Return the shape of a stretch that begins with the data record on `line`."""
        width = _WIDTH_OF_HEAD.get(line[:2])
        count = byte_of(line[2:4])
        if width is None or count is None or count <= width + 1:
            return None
        return Shape(line[:2], 1, width, count - width - 1, 0xFF)

    @property
    def ended(self) -> bool:
        """Return whether the terminator was met."""
        return self._end is not None

    def take_record(self, line: bytes, number: int) -> None:
        """Take the record on a line; refuse a line that is not one."""
        record = _parse(line, number, self._text)
        if record.type in DATA:
            self.count(len(record.data))
            self.data(record.type, record.address, record.data, number)
        elif record.type == 0:
            self._take_header(record, number)
        elif record.type in COUNTS:
            self._take_count(record, number)
        else:
            self._take_end(record, number)

    def take_stretch(self, shape: Shape, address: int, data: bytes, number: int) -> None:
        """Place the data of records that go on from each other."""
        records = len(data) // shape.length
        self.records += records - 1
        self.count(shape.length, records)
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
            self.note("srec-empty-record", number)
            return
        self._data_seen = True
        self._judge_overrun((kind, address))
        if address + len(data) > 1 << 8 * ADDRESS_BYTES[kind]:
            self._overrun = _Overrun(kind, address, len(data), number)
        self._destination.put(address, data, number)

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
        self.note("srec-past-width", over.line)
        self._overrun = None

    def _take_header(self, record: Record, number: int) -> None:
        if self._header is not None:
            self.note("srec-header-twice", number)
            return
        self._header = record.data
        if self.records or self._count_line is not None:
            self.note("srec-header-late", number)
        if record.address:
            self.note("srec-header-address", number)

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
                expected=f"{record.address} data records, by the count",
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
            self.note("srec-odd-end-accepted", number)
        self._end = record
        self._judge_overrun(None)

    def refuse_after_end(self, line: bytes, number: int) -> None:
        """Refuse a line after the terminator: a second one, or anything else."""
        if line[:1] == b"S" and line[1:2] in (b"7", b"8", b"9"):
            raise faults.SREC_TWO_ENDS.error(
                line=number, expected="nothing after the terminator", found=clipped(line)
            )
        super().refuse_after_end(line, number)

    def judge_end(self) -> None:
        """Judge the end of the file, and turn what was noted into findings."""
        self._judge_overrun(None)
        if not self._data_seen:
            raise faults.SREC.no_data.error(expected="a data record (S1, S2, S3)", found="none")
        self.findings += self.notes()
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
            raise faults.SREC.no_end.error(line=number, expected=expected, found=clipped(line))
        text = "allowed: no terminator and no count, so nothing proves the end"
        self.findings.append(Finding("srec-no-end-accepted", text, line=number))

    def dump(self, image: Image) -> Dump:
        """Return the dump, once the end was judged."""
        start = None if self._end is None else self._end.address
        return Dump(NAME, image, self.all_findings(image), header=self._header, start_address=start)


class Record(NamedTuple):
    """Type (0 to 9), address or count, and data of one record."""

    type: int
    address: int
    data: bytes


def _parse(line: bytes, number: int, text: Text) -> Record:
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
    if line[:1] == b"s" and MARKS.record.match(line):
        return faults.SREC_LOWER_CASE_S.error(line=number, expected="S", found=clipped(line))
    if not _LIKE_A_RECORD.fullmatch(line):
        return not_a_record(line, number, text, faults.SREC, MARKS)
    kind = line[1:2]
    last = text.last_line()[0] == number
    if not kind and last:
        return faults.SREC.cut_short.error(line=number, expected="a type", found="nothing")
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
    return faults.SREC.checksum.error(
        line=number, expected=f"{right:02X}", found=f"{record[-1]:02X}"
    )


def _shape_flaw(line: bytes, number: int, width: int, *, last: bool) -> ParambakError | None:
    rest = line[2:].lstrip(_DIGITS)
    given = line[2 : len(line) - len(rest)]
    count = int(given[:2], 16) if len(given) >= 2 else None
    needed = 2 * ((width + 1 if count is None else count) + 1)
    if rest and len(given) != needed:
        return faults.SREC.digit.error(
            line=number,
            expected="hexadecimal digits",
            found=f"'{clipped(rest[:1])}' in column {3 + len(given)}",
        )
    if rest:
        fault = faults.SREC.text_after if rest.strip(b" \t") else faults.SREC.trailing_blanks
        return fault.error(line=number, expected="nothing after the checksum", found=clipped(rest))
    if len(given) == needed and count is not None and count >= width + 1:
        return None
    return _length_flaw(len(given), needed, count, (number, width), last=last)


def _length_flaw(
    given: int, needed: int, count: int | None, at: tuple[int, int], *, last: bool
) -> ParambakError:
    number, width = at
    if given < needed and last:
        fault, expected, found = faults.SREC.cut_short, f"{needed} digits after the type", given
    elif given % 2:
        fault, expected, found = faults.SREC.odd_digits, f"{needed} digits after the type", given
    elif count is not None and count < width + 1:
        fault, expected, found = faults.SREC_SHORT_COUNT, f"a count of {width + 1} or more", count
    else:
        fault, expected = faults.SREC_LENGTH, f"{needed // 2 - 1} bytes after the count"
        found = max(0, given // 2 - 1)
    return fault.error(line=number, expected=expected, found=str(found))


def write(image: Image, *, style: Style = Style()) -> bytes:  # noqa: B008 - Style is immutable
    """Return `image` as S-records: header, data, count, and a terminator with address 0.

    No record crosses a 64 KiB boundary. Raise CallRefused where the style does not fit.
    """
    width = check_style(image, style, _WIDTHS, NAME, header=True)
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


def _begins(data: bytes) -> bool:
    record = _FIRST_RECORD.fullmatch(first_line(data))
    return record is not None and len(record[2]) == 2 * int(record[1], 16)


def _judge(data: bytes, dump: Dump) -> Judge | str:
    if any(finding.code == "srec-same-byte-twice-accepted" for finding in dump.findings):
        return "the libraries refuse an address that occurs twice"
    return by_bincopy(
        _with_bytes(text_of(Parser, data, Terms(accepted=dump.used)).lines()), "add_srec"
    )


def _with_bytes(lines: Iterable[bytes]) -> Iterator[list[str]]:
    """Yield portions without data records that carry no bytes: bincopy may refuse those."""
    for portion in portions_of(lines):
        yield [line for line in portion if line[:4] not in ("S103", "S204", "S305")]


FORMAT: Final = Format(
    name=NAME,
    label="S-record",
    endings=("s19", "s28", "s37", "srec", "mot"),
    contents="S-records",
    read=read,
    write=write,
    judge=_judge,
    begins=_begins,
    parser=Parser,
    widths=tuple(_WIDTHS),
    trace=re.compile(rb"(?m)^[Ss][0-9][0-9A-Fa-f]{8}"),
)
