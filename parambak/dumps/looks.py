"""What a file's content looks like: a first record of whole shape, or a sign of a format."""

from __future__ import annotations

import re
from typing import Final, NamedTuple

_BLANK: Final = b" \t\r\n"
_SHOWN_LINES: Final = re.compile(rb"[^\r\n]+")
_HEX_RECORD: Final = re.compile(rb":([0-9A-Fa-f]{2})((?:[0-9A-Fa-f]{2}){4,})")
_S_RECORD: Final = re.compile(rb"S[0-9]([0-9A-Fa-f]{2})((?:[0-9A-Fa-f]{2})+)")
_HEX_START: Final = re.compile(rb"(?m)^:[0-9A-Fa-f]{8}")
_S_START: Final = re.compile(rb"(?m)^S[0-9][0-9A-Fa-f]{8}")
_SIGNATURES: Final = {
    b"PK\x03\x04": "ZIP",
    b"PK\x05\x06": "ZIP",
    b"PK\x07\x08": "ZIP",
    b"\x7fELF": "ELF",
}
_MARKS: Final = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_LOOKED_AT: Final = 1 << 16
"""How much of the file is searched for a record among other text."""


class Look(NamedTuple):
    """What the content looks like, and where that was seen."""

    what: str
    line: int | None = None
    offset: int | None = None


def first_record(data: bytes) -> str | None:
    """Return "intel-hex" or "s-record" where the first line not blank has that whole shape."""
    body = data[: _LOOKED_AT * 2].lstrip(_BLANK)
    found = _SHOWN_LINES.match(body)
    line = found[0] if found else b""
    hex_record = _HEX_RECORD.fullmatch(line)
    if hex_record and len(hex_record[2]) == 2 * (int(hex_record[1], 16) + 4):
        return "intel-hex"
    s_record = _S_RECORD.fullmatch(line)
    if s_record and len(s_record[2]) == 2 * int(s_record[1], 16):
        return "s-record"
    return None


def signature(data: bytes) -> str | None:
    """Return "ZIP" or "ELF" where the content begins as such a file does."""
    for mark, name in _SIGNATURES.items():
        if data.startswith(mark):
            return name
    return None


def look(data: bytes) -> Look | None:
    """Return what other format the content looks like, None where it may be a chip's bytes.

    A record, or the greater part of one, at the start of a line betrays a text format even
    where the rest is damaged; so does one in UTF-16.
    """
    name = signature(data)
    if name is not None:
        return Look(name, offset=0)
    head = data[:_LOOKED_AT]
    if head[:3] in _MARKS or head[:2] in _MARKS or 0 in head[:2]:
        plain = head.replace(b"\x00", b"")
        for mark in _MARKS:
            plain = plain.removeprefix(mark)
        if first_record(plain) is not None:
            return Look("records in UTF-16 or after a byte-order mark", line=1, offset=0)
    for pattern, what in ((_HEX_START, "Intel HEX"), (_S_START, "S-records")):
        found = pattern.search(head.replace(b"\r", b"\n"))
        if found:
            before = head[: found.start()]
            line = 1 + (before.count(b"\n") or before.count(b"\r"))
            return Look(what, line=line, offset=found.start())
    return None
