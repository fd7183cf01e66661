"""What the two text formats share: plain ASCII lines, consistently ended, within limits."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from msgspec import Struct

from parambak.dumps.dump import ALLOWANCES, GAP
from parambak.dumps.faults import DUMP_NO_SUCH_ALLOWANCE, DUMP_TOO_LARGE
from parambak.dumps.limits import MAX_FILE, MAX_LINES
from parambak.memory.counted import counted
from parambak.memory.findings import Finding
from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.dumps.dump import Terms
    from parambak.dumps.faults import RecordFaults
    from parambak.memory.image import Image

UTF_8_MARK: Final = b"\xef\xbb\xbf"
BYTE_ORDER_MARKS: Final = {
    UTF_8_MARK: "a UTF-8 byte-order mark",
    b"\xff\xfe": "a UTF-16 byte-order mark, low byte first",
    b"\xfe\xff": "a UTF-16 byte-order mark, high byte first",
}
_LINE_ENDS: Final = {
    b"\n": "LF",
    b"\r\n": "CR LF",
    b"\r": "CR",
    b"\r\r\n": "CR CR LF",
    b"\n\r": "LF CR",
}
_LOWER_CASE: Final = tuple(b"abcdef")
"""The lower-case digits: any other small letter is refused where it stands."""
_LINES_AT_A_TIME: Final = 1 << 18
_FIRST_LINE_WITHIN: Final = 1 << 17
"""Bytes at the start of a file within which its first line is looked for."""
_LINE: Final = re.compile(rb"[^\r\n]+")


class Text(Struct, frozen=True):
    """Lines of a dump: `body` holds them, `line_end` parts them, `first` is the first's number."""

    body: bytes
    line_end: bytes
    first: int
    findings: tuple[Finding, ...]

    def lines(self) -> Iterator[bytes]:
        """Yield the lines without their ends, some at a time: all at once would cost memory."""
        body, line_end = self.body, self.line_end
        at = 0
        while at < len(body):
            stop = body.rfind(line_end, at, at + _LINES_AT_A_TIME)
            if stop < 0:
                stop = body.find(line_end, at)
            if stop < 0:
                stop = len(body)
            yield from body[at:stop].split(line_end)
            at = stop + len(line_end)

    def last_line(self) -> tuple[int, bytes]:
        """Return the number and content of the last line that is not blank."""
        end = len(self.body.rstrip(b" \t\r\n"))
        number = self.first + self.body.count(self.line_end, 0, end)
        return number, self.body[:end].rpartition(self.line_end)[2]


def first_line(data: bytes) -> bytes:
    """Return the first line that is not blank, without blanks around it; empty if there is none.

    A UTF-8 byte-order mark before it is left out.
    """
    head = data[:_FIRST_LINE_WITHIN].removeprefix(UTF_8_MARK)
    line = _LINE.match(head.lstrip(b" \t\r\n"))
    return line[0].rstrip(b" \t") if line else b""


def check_size(data: bytes) -> None:
    """Refuse a file that is over the cap."""
    if len(data) > MAX_FILE:
        raise DUMP_TOO_LARGE.error(expected=f"at most {MAX_FILE} bytes", found=f"{len(data)} bytes")


def check_terms(terms: Terms) -> None:
    """Refuse an allowance that does not exist."""
    for name in sorted(terms.accepted - ALLOWANCES.keys()):
        raise DUMP_NO_SUCH_ALLOWANCE.error(expected=", ".join(ALLOWANCES), found=name)


def as_text(body: bytes, first: int, faults: RecordFaults) -> Text:
    """Return the lines of `body`, whose first has the number `first`; refuse mixed line ends."""
    line_end = _line_end(body)
    if line_end is None:
        raise faults.line_ends.error(
            expected="the same line end throughout",
            found=_line_ends_counted(body),
        )
    lines = body.count(line_end) + (not body.endswith(line_end)) if len(body) > MAX_LINES else 1
    if lines > MAX_LINES:
        raise faults.too_many_lines.error(expected=f"at most {MAX_LINES} lines", found=str(lines))
    findings = []
    if line_end != b"\n":
        name = _LINE_ENDS[line_end]
        findings.append(Finding(f"{faults.prefix}-line-end", f"every line ends in {name}"))
    letters = [at for at in map(body.find, _LOWER_CASE) if at >= 0]
    if letters:
        line = first + body.count(line_end, 0, min(letters))
        text = f"the file holds lower-case digits, first in line {line}"
        findings.append(Finding(f"{faults.prefix}-lower-case", text, line=line))
    return Text(body, line_end, first, tuple(findings))


def _line_ends_counted(body: bytes) -> str:
    pairs, feeds, returns = body.count(b"\r\n"), body.count(b"\n"), body.count(b"\r")
    return f"{pairs} CR LF, {feeds - pairs} LF alone, {returns - pairs} CR alone"


def _line_end(body: bytes) -> bytes | None:
    if b"\r" not in body:
        return b"\n"
    if b"\n" not in body:
        return b"\r"
    returns, feeds = body.count(b"\r"), body.count(b"\n")
    for candidate in (b"\r\r\n", b"\r\n", b"\n\r"):
        count = body.count(candidate)
        if feeds == count and returns == count * candidate.count(b"\r"):
            return candidate
    return None


def left_out(image: Image, terms: Terms, prefix: str) -> list[Finding]:
    """Return the finding about bytes that the reader leaves out, by its profile."""
    if terms.left_out is None:
        return []
    low = image.start if terms.end is None else terms.base
    high = image.end if terms.end is None else terms.end
    absent = high - low - image.size
    if not absent:
        return []
    text = (
        f"{counted(absent, 'byte')} absent: by the reader profile, this reader's files leave out "
        f"bytes that are {terms.left_out:02X}"
    )
    return [Finding(f"{prefix}-left-out", text)]


def missing_lines(image: Image, usual: int, prefix: str) -> Iterator[Finding]:
    """Yield the finding about gaps that are whole lines of `usual` bytes, the length of most.

    A gap that is neither smaller than all before it nor than all after it is the memory's own:
    nothing is noted.
    """
    gaps = []
    present = 0
    for before, after in pairwise(image.ranges):
        present += before.length
        gap = after.start - before.end
        if usual and gap % usual == 0 and gap < max(present, image.size - present):
            gaps.append((before.end, gap))
    if not gaps:
        return
    start, gap = gaps[0]
    lines = counted(gap // usual, "line")
    more = f"; {counted(len(gaps) - 1, 'more gap')} of this kind" if len(gaps) > 1 else ""
    text = (
        f"{counted(gap, 'byte')} from 0x{start:04X} to 0x{start + gap - 1:04X} absent, the length "
        f"of {lines} of this file: it may have lost {'it' if gap == usual else 'them'}{more}"
    )
    yield Finding(f"{prefix}{GAP}", text, offset=start)


def clipped(line: bytes) -> str:
    """Return a line as it can be shown: at most 60 characters, other bytes escaped."""
    text = printable(line[:60])
    return text + "…" if len(line) > 60 else text


def lines_shown(numbers: list[int]) -> str:
    """Return where something was seen: its line, or how often and where first."""
    if len(numbers) == 1:
        return f"line {numbers[0]}"
    return f"{len(numbers)} of them, first in line {numbers[0]}"
