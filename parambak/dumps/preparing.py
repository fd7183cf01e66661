"""A file of records made ready to be read: what is around the records and in their lines.

Everything here is the same in each text format. What is not part of a record is refused, noted,
or taken off by a named allowance; `formats/intel-hex.md` and `formats/s-record.md` list all.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final, NamedTuple

from parambak.dumps.dump import BYTE_ORDER_MARK, LOWER_CASE_S, TEXT_AROUND, TRAILING_BLANKS
from parambak.dumps.limits import MAX_LINES, PADDING_BLOCK
from parambak.dumps.text import (
    BYTE_ORDER_MARKS,
    UTF_8_MARK,
    Text,
    as_text,
    check_size,
    check_terms,
    clipped,
)
from parambak.memory.counted import counted
from parambak.memory.findings import Finding

if TYPE_CHECKING:
    from parambak.dumps.dump import Terms
    from parambak.dumps.faults import RecordFaults
    from parambak.errors import ParambakError

_PADDING: Final = b"\x1a\x00"
_BLANK: Final = b" \t\r\n\x1a"
_CONTROL: Final = rb"[\x01-\x08\x0b\x0c\x0e-\x19\x1b-\x1f\x7f]"
"""Bytes that a text does not hold, and the bytes of a chip do."""
# Patterns of rare irregularities, which are compiled at their first use.
_TRAILING: Final = rb"(?<=[0-9A-Fa-f])[ \t]+(?=[\r\n]|\Z)"
_SMALL_S: Final = rb"(?:\A|(?<=[\r\n]))s(?=[0-9])"


class Marks(NamedTuple):
    """How records are recognised.

    `name` is the first character of each as a person calls it, `line` the start of a line that
    is a record or the beginning of one, and `record` a record at any place.
    """

    name: str
    first: bytes
    line: re.Pattern[bytes]
    record: re.Pattern[bytes]


class _Body(NamedTuple):
    """The part of a file that holds the records, the number of its first line, and findings."""

    body: bytes
    first: int = 1
    findings: tuple[Finding, ...] = ()


def prepared(data: bytes, terms: Terms, faults: RecordFaults, marks: Marks) -> Text:
    """Return the lines of a file: size, encoding, surroundings and line ends judged."""
    check_size(data)
    check_terms(terms)
    body = _without_mark(data, terms, faults, marks)
    _refuse_without_records(body.body, faults, marks)
    body = _without_padding(body, faults)
    if terms.allows(TRAILING_BLANKS):
        body = _replaced(body, faults, TRAILING_BLANKS, _TRAILING, b"", "blanks after a checksum")
    if terms.allows(LOWER_CASE_S):
        body = _replaced(body, faults, LOWER_CASE_S, _SMALL_S, b"S", "records that begin with s")
    if terms.allows(TEXT_AROUND):
        body = _without_text(body, faults, marks)
    text = as_text(body.body, body.first, faults)
    return Text(text.body, text.line_end, text.first, body.findings + text.findings)


def _without_mark(data: bytes, terms: Terms, faults: RecordFaults, marks: Marks) -> _Body:
    """Take off a UTF-8 byte-order mark, if that is allowed; refuse records in UTF-16."""
    if data.startswith(UTF_8_MARK) and marks.record.search(data):
        if not terms.allows(BYTE_ORDER_MARK):
            name = BYTE_ORDER_MARKS[UTF_8_MARK]
            raise faults.byte_order_mark.error(line=1, offset=0, expected="plain ASCII", found=name)
        text = f"allowed: {BYTE_ORDER_MARKS[UTF_8_MARK]} before the records"
        finding = Finding(f"{faults.prefix}-{BYTE_ORDER_MARK}-accepted", text, line=1, offset=0)
        return _Body(data.removeprefix(UTF_8_MARK), findings=(finding,))
    head = data[:4096]
    mark = next((name for mark, name in BYTE_ORDER_MARKS.items() if head.startswith(mark)), None)
    wide = mark or head[:2] in (marks.first + b"\x00", b"\x00" + marks.first)
    if wide and marks.record.search(head.replace(b"\x00", b"")):
        raise faults.encoding.error(
            line=1, offset=0, expected="plain ASCII", found=mark or "UTF-16"
        )
    return _Body(data)


def _refuse_without_records(data: bytes, faults: RecordFaults, marks: Marks) -> None:
    """Refuse an empty file, and one that holds no record nor the beginning of one."""
    if not data[:4096].strip(_BLANK) and not data.strip(_BLANK):
        raise faults.empty.error(expected="records", found=f"{len(data)} bytes without one")
    if marks.record.search(data):
        return
    if not marks.line.search(data) or re.search(_CONTROL, data):
        raise faults.no_record.error(
            expected=f"lines that begin with {marks.name}",
            found=f"{counted(len(data), 'byte')} without a record",
        )


def _without_padding(given: _Body, faults: RecordFaults) -> _Body:
    """Take off Ctrl-Z or 00 after the end: old programs fill a block with them."""
    body = given.body.rstrip(_PADDING)
    padding = len(given.body) - len(body)
    if not padding:
        return given
    most = (len(body) // PADDING_BLOCK + 1) * PADDING_BLOCK - len(body)
    if padding > most:
        raise faults.padding.error(
            offset=len(body), expected=f"at most {most} bytes", found=f"{padding} bytes"
        )
    text = f"{counted(padding, 'byte')} of 1A or 00 after the end, no more than a block holds"
    finding = Finding(f"{faults.prefix}-padding-found", text, offset=len(body))
    return given._replace(body=body, findings=(*given.findings, finding))


def _replaced(  # noqa: PLR0913, PLR0917 - one allowance is these five things
    given: _Body,
    faults: RecordFaults,
    allowance: str,
    pattern: bytes,
    new: bytes,
    what: str,
) -> _Body:
    """Return the body with every match replaced, and the finding that it was allowed."""
    body, number = re.subn(pattern, new, given.body)
    match = re.search(pattern, given.body)
    if match is None:
        return given
    line = _line_at(given.body, match.start())
    where = f"line {line}" if number == 1 else f"{number} of them, first in line {line}"
    finding = Finding(
        f"{faults.prefix}-{allowance}-accepted", f"allowed: {what}: {where}", line=line
    )
    return given._replace(body=body, findings=(*given.findings, finding))


def _without_text(given: _Body, faults: RecordFaults, marks: Marks) -> _Body:
    """Take off the text before the first and after the last record, if it holds no record."""
    body = given.body
    if max(body.count(b"\n"), body.count(b"\r")) > 2 * MAX_LINES:
        return given  # which is refused for its lines
    starts = [match.start() for match in marks.line.finditer(body)]
    if not starts:
        return given
    first, last = starts[0], starts[-1]
    line_end = re.compile(rb"[\r\n]").search(body, last)
    end = line_end.start() if line_end else len(body)
    before, after = body[:first], body[end:]
    for part, at in ((before, 0), (after, end)):
        hidden = marks.record.search(part)
        if hidden:
            raise faults.text_before.error(
                line=_line_at(body, at + hidden.start()),
                expected="a record at the start of its line",
                found=clipped(hidden[0]),
            )
    sizes = len(before.strip()), len(after.strip())
    findings = given.findings
    if any(sizes):
        text = (
            f"allowed: {sizes[0]} bytes of text before the first record and {sizes[1]} after the "
            "last, which are not part of the dump"
        )
        findings = (*findings, Finding(f"{faults.prefix}-{TEXT_AROUND}-accepted", text))
    return _Body(body[first:end], _line_at(body, first), findings)


def _line_at(body: bytes, at: int) -> int:
    """Return the number of the line that holds the byte at `at`."""
    return 1 + body.count(b"\n" if b"\n" in body else b"\r", 0, at)


def not_a_record(
    line: bytes, number: int, text: Text, faults: RecordFaults, marks: Marks
) -> ParambakError:
    """Return the fault of a line that begins as no record does, by what is around it."""
    expected = f"a record, beginning with {marks.name}"
    if marks.record.search(line):
        return faults.text_before.error(line=number, expected=expected, found=clipped(line))
    lines = iter(text.lines())
    before = [next(lines) for _ in range(number - text.first)]
    around = not any(marks.line.match(row) for row in before)
    if not around:
        around = not any(marks.line.match(row) for row in lines)
    fault = faults.text_around if around else faults.not_a_record
    return fault.error(line=number, expected=expected, found=clipped(line))


def after_end(line: bytes, number: int, faults: RecordFaults, marks: Marks) -> ParambakError:
    """Return the fault of a line after the end of the records: a further record, or text."""
    further = marks.line.match(line) or marks.record.search(line)
    fault = faults.after_end if further else faults.text_around
    return fault.error(line=number, expected="nothing after the end", found=clipped(line))
