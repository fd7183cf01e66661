"""Every defect of an S-record file, by its name."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from parambak.dumps import s_record
from parambak.dumps.dump import (
    BYTE_ORDER_MARK,
    LOWER_CASE_S,
    NO_END,
    ODD_END,
    SAME_BYTE_TWICE,
    TEXT_AROUND,
    TRAILING_BLANKS,
    Dump,
    Terms,
)
from parambak.dumps.limits import MAX_FILE, MAX_LINES
from parambak.dumps.registry import read_dump
from parambak.errors import DumpRefused

WIDTH = {0: 2, 1: 2, 2: 3, 3: 4, 4: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}


def record(kind: int, address: int, data: bytes = b"") -> bytes:
    """Return one line, its checksum right."""
    body = address.to_bytes(WIDTH[kind], "big") + data
    body = bytes((len(body) + 1,)) + body
    return b"S%d" % kind + (body + bytes((~sum(body) & 0xFF,))).hex().upper().encode() + b"\n"


def wrong_sum(line: bytes) -> bytes:
    """Return the line with its checksum one higher."""
    digits = line.strip()
    return digits[:-2] + b"%02X\n" % ((int(digits[-2:], 16) + 1) & 0xFF)


HEAD = record(0, 0, b"HDR")
FOUR = record(1, 0x0010, b"\x11\x22\x33\x44")
MORE = record(1, 0x0014, b"\x55\x66")
END = record(9, 0)


class Bad(NamedTuple):
    """A damaged file, and how it is refused."""

    data: bytes
    code: str
    line: int | None = None
    offset: int | None = None
    expected: str | None = None
    found: str | None = None
    terms: Terms = Terms()


BAD = {
    "empty file": Bad(b"", "srec-empty", expected="records", found="0 bytes without one"),
    "blank file": Bad(b"\n \n", "srec-empty"),
    "no data": Bad(HEAD + END, "srec-no-data", expected="a data record (S1, S2, S3)", found="none"),
    "data records that carry nothing": Bad(HEAD + record(1, 0) + END, "srec-no-data"),
    "S4": Bad(
        HEAD + record(4, 0, b"\x00") + END,
        "srec-type",
        2,
        expected="S0 to S3 or S5 to S9",
        found="S4",
    ),
    "unknown type": Bad(HEAD + b"SA030000FC\n" + END, "srec-type", 2, found="SA"),
    "lower-case letter of the type": Bad(
        HEAD + b"s" + FOUR[1:] + END,
        "srec-lower-case-s",
        2,
        expected="S",
        found="s" + FOUR[1:].strip().decode(),
    ),
    "count too small for the address": Bad(
        HEAD + b"S10200FD\n" + END,
        "srec-short-count",
        2,
        expected="a count of 3 or more",
        found="2",
    ),
    "count too small for a wide address": Bad(
        HEAD + b"S304000000FB\n" + END, "srec-short-count", 2, found="4"
    ),
    "count larger than the bytes present": Bad(
        HEAD + b"S1080010112233443D\n" + END,
        "srec-length",
        2,
        expected="8 bytes after the count",
        found="7",
    ),
    "count smaller than the bytes present": Bad(
        HEAD + b"S1060010112233443F\n" + END,
        "srec-length",
        2,
        expected="6 bytes after the count",
        found="7",
    ),
    "bad checksum": Bad(
        HEAD + wrong_sum(FOUR) + END, "srec-checksum", 2, expected="3E", found="3F"
    ),
    "odd number of digits": Bad(
        HEAD + FOUR[:-2] + b"\n" + END,
        "srec-odd-digits",
        2,
        expected="16 digits after the type",
        found="15",
    ),
    "digit not hexadecimal": Bad(
        HEAD + FOUR.replace(b"22", b"2G") + END,
        "srec-digit",
        2,
        expected="hexadecimal digits",
        found="'G' in column 12",
    ),
    "last record cut short": Bad(
        HEAD + FOUR + MORE[:9],
        "srec-cut-short",
        3,
        expected="12 digits after the type",
        found="7",
    ),
    "last record cut to its letter": Bad(HEAD + FOUR + b"S", "srec-cut-short", 3),
    "text before the letter": Bad(
        HEAD + b"> " + FOUR + END,
        "srec-text-before",
        2,
        expected="a record, beginning with S",
    ),
    "line among the records that is none": Bad(
        HEAD + b"Sent 12\n" + FOUR + END, "srec-not-a-record", 2, found="Sent 12"
    ),
    "blanks after a checksum": Bad(
        HEAD + FOUR[:-1] + b" \t\n" + END, "srec-trailing-blanks", 2, found=" \\u{0009}"
    ),
    "text before the first record": Bad(b"Sent\n" + HEAD + FOUR + END, "srec-text-around", 1),
    "a record hidden in the text around": Bad(
        b"> " + HEAD + FOUR + END, "srec-text-before", 1, terms=Terms(frozenset({TEXT_AROUND}))
    ),
    "a record after the end where text around is allowed": Bad(
        HEAD + FOUR + END + b"ok\n" + MORE,
        "srec-text-around",
        4,
        terms=Terms(frozenset({TEXT_AROUND})),
    ),
    "more padding than fills a block": Bad(
        HEAD + FOUR + END + b"\x1a" * 2000, "srec-padding", found="2000 bytes"
    ),
    "padding where the end is missing": Bad(HEAD + FOUR + bytes(9), "srec-no-end", 2),
    "no record in a text": Bad(
        b"S is a letter\n", "srec-no-record", expected="lines that begin with S"
    ),
    "a chip's bytes": Bad(bytes(range(256)), "srec-no-record"),
    "addresses that count words": Bad(
        b"".join(record(1, at, bytes(16)) for at in (0, 8, 16)) + END,
        "srec-word-addressed",
        offset=8,
        terms=Terms(frozenset({SAME_BYTE_TWICE})),
    ),
    "text after the checksum": Bad(
        HEAD + FOUR[:-1] + b" ok\n" + END,
        "srec-text-after",
        2,
        expected="nothing after the checksum",
        found=" ok",
    ),
    "two records on a line": Bad(HEAD + FOUR[:-1] + MORE + END, "srec-text-after", 2),
    "S5 count wrong": Bad(
        HEAD + FOUR + MORE + record(5, 7) + END,
        "srec-count-wrong",
        4,
        expected="7 data records, by the count",
        found="2",
    ),
    "S6 count wrong": Bad(HEAD + FOUR + record(6, 2) + END, "srec-count-wrong", 3, found="1"),
    "S5 repeated": Bad(
        HEAD + FOUR + record(5, 1) + record(5, 1) + END,
        "srec-count-twice",
        4,
        expected="one count record, in line 3",
        found="another, S5",
    ),
    "S5 and S6": Bad(HEAD + FOUR + record(5, 1) + record(6, 1) + END, "srec-count-twice", 4),
    "S5 with more than a count": Bad(
        HEAD + FOUR + record(5, 1, b"\x00") + END,
        "srec-count-length",
        3,
        expected="2 bytes of count",
        found="1 bytes more",
    ),
    "data after the count": Bad(
        HEAD + FOUR + record(5, 1) + MORE + END,
        "srec-data-after-count",
        4,
        expected="no data after the count in line 3",
        found="S1 at 0x0014",
    ),
    "terminator with data": Bad(
        HEAD + FOUR + record(9, 0, b"\x00"),
        "srec-end-data",
        3,
        expected="no data",
        found="1 bytes",
    ),
    "data after the terminator": Bad(
        HEAD + FOUR + END + MORE,
        "srec-after-end",
        4,
        expected="nothing after the end",
        found=MORE.strip().decode(),
    ),
    "text after the terminator": Bad(
        HEAD + FOUR + END + b"ok\n", "srec-text-around", 4, found="ok"
    ),
    "two terminators": Bad(
        HEAD + FOUR + END + END,
        "srec-two-ends",
        4,
        expected="nothing after the terminator",
        found="S9030000FC",
    ),
    "two terminators of different types": Bad(HEAD + FOUR + END + record(7, 0), "srec-two-ends", 4),
    "one address given two bytes": Bad(
        HEAD + FOUR + record(1, 0x0012, b"\x99") + END,
        "srec-conflict",
        3,
        0x12,
        "33 at 0x0012, as in an earlier record",
        "99",
    ),
    "S1 data over 64 KiB": Bad(
        HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44") + END,
        "srec-width",
        2,
        0xFFFE,
        "at most 2 bytes from 0xFFFE",
        "4 bytes",
    ),
    "S1 data over 64 KiB, and S1 goes on": Bad(
        HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44") + FOUR + END, "srec-width", 2, 0xFFFE
    ),
    "S1 data over 64 KiB, and S2 goes on elsewhere": Bad(
        HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44") + record(2, 0x10003, b"\x01") + END,
        "srec-width",
        2,
        0xFFFE,
    ),
    "S1 data over 64 KiB, counted, but S9 says that addresses end there": Bad(
        HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44") + record(5, 1) + END,
        "srec-width",
        2,
        0xFFFE,
    ),
    "S1 data over 64 KiB, then S1, counted": Bad(
        HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44") + FOUR + record(5, 2), "srec-width", 2
    ),
    "S1 data over 64 KiB, neither counted nor ended, named": Bad(
        HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44"),
        "srec-width",
        2,
        terms=Terms(frozenset({NO_END})),
    ),
    "S3 data over 4 GiB, counted": Bad(
        HEAD + record(3, 0xFFFFFFFE, b"\x11\x22\x33") + record(5, 1), "srec-width", 2, 0xFFFFFFFE
    ),
    "S2 data over 16 MiB": Bad(
        HEAD + record(2, 0xFFFFFE, b"\x11\x22\x33\x44") + record(8, 0), "srec-width", 2, 0xFFFFFE
    ),
    "S3 data over 4 GiB": Bad(
        HEAD + record(3, 0xFFFFFFFE, b"\x11\x22\x33") + record(7, 0), "srec-width", 2, 0xFFFFFFFE
    ),
    "bytes 4 GiB apart": Bad(
        record(3, 0, b"\x01") + record(3, 0xFFFFFFFF, b"\x01") + record(7, 0), "srec-span", 2
    ),
    "address outside the declared chip": Bad(
        HEAD + FOUR + END,
        "srec-outside",
        2,
        0x12,
        "addresses 0x0000 to 0x0011",
        "0x0012",
        Terms(memory_size=0x12),
    ),
    "byte-order mark": Bad(b"\xef\xbb\xbf" + HEAD + FOUR + END, "srec-byte-order-mark", 1, 0),
    "UTF-16": Bad((HEAD + FOUR + END).decode().encode("utf-16-le"), "srec-encoding", 1, 0),
    "file over the cap": Bad(b"\n" * (MAX_FILE + 1), "dump-too-large"),
    "lines over the cap": Bad(FOUR + b"\n" * MAX_LINES + END, "srec-too-many-lines"),
    "line ends that differ": Bad(HEAD + FOUR[:-1] + b"\r\n" + END, "srec-line-ends"),
    "Intel HEX in a file named as S-records": Bad(
        b":00000001FF\n",
        "dump-name-differs",
        expected="s-record, by the name",
        found="intel-hex",
    ),
    "neither terminator nor count": Bad(
        HEAD + FOUR + MORE, "srec-no-end", 3, expected="S9", found=MORE.strip().decode()
    ),
    "S1-only data ended by S7": Bad(
        HEAD + FOUR + record(7, 0), "srec-odd-end", 3, expected="S9", found="S7"
    ),
    "S1 and S2 data ended by S7": Bad(
        HEAD + FOUR + record(2, 0x20, b"\x01") + record(7, 0),
        "srec-odd-end",
        4,
        expected="S8 or S9",
    ),
    "one address given the same byte twice": Bad(
        HEAD + FOUR + record(1, 0x0012, b"\x33") + END,
        "srec-same-byte-twice",
        3,
        0x12,
        "0x0012 given once",
        "33 given again",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_damaged_file_is_refused_by_its_defect(name: str) -> None:
    """Each defect has its own code, its line or offset, what was expected and what found."""
    bad = BAD[name]
    with pytest.raises(DumpRefused) as caught:
        read_dump("dump.s19", bad.data, terms=bad.terms)
    error = caught.value.document()
    assert error["code"] == bad.code
    for key in ("line", "offset", "expected", "found"):
        wanted = getattr(bad, key)
        assert wanted is None or error[key] == wanted
    assert error["next"]


def read(data: bytes, *accepted: str) -> Dump:
    """Return the dump, taken on the terms named."""
    return s_record.read(data, terms=Terms(frozenset(accepted)))


NOTED = {
    "srec-no-terminator": (HEAD + FOUR + MORE + record(5, 2), 4),
    "srec-mixed-widths": (HEAD + FOUR + record(2, 0x14, b"\x55\x66") + record(8, 0), None),
    "srec-no-header": (FOUR + MORE + END, None),
    "srec-header-late": (FOUR + HEAD + MORE + END, 2),
    "srec-header-twice": (HEAD + FOUR + HEAD + MORE + END, 3),
    "srec-header-address": (record(0, 0x1234, b"HDR") + FOUR + MORE + END, 1),
    "srec-blank-line": (HEAD + FOUR + b"\n" + MORE + END, 3),
    "srec-empty-record": (HEAD + FOUR + record(1, 0) + MORE + END, 3),
    "srec-line-end": ((HEAD + FOUR + MORE + END).replace(b"\n", b"\r\n"), None),
    "srec-lower-case": (HEAD + FOUR + MORE + END[:-2] + b"c\n", 4),
    "srec-padding-found": (HEAD + FOUR + MORE + END + b"\x1a" + bytes(80), None),
}


@pytest.mark.parametrize("code", NOTED)
def test_harmless_oddity_is_noted(code: str) -> None:
    """It is accepted with a finding, and changes no byte."""
    data, line = NOTED[code]
    dump = read(data)
    assert [(finding.code, finding.line) for finding in dump.findings] == [(code, line)]
    assert dump.image == read(HEAD + FOUR + MORE + END).image


def test_plain_file_has_no_finding() -> None:
    """A file with header, count and terminator is noted for nothing; its parts are stated."""
    dump = read(HEAD + FOUR + MORE + record(5, 2) + record(9, 0x1234))
    assert (dump.findings, dump.header, dump.start_address) == ((), b"HDR", 0x1234)
    assert dump.image.ranges == ((0x10, 6),)


def test_mixed_widths_end_by_any_width_present() -> None:
    """S1 and S2 mixed may be ended by S9 as well as by S8."""
    mixed = HEAD + FOUR + record(2, 0x14, b"\x55\x66")
    assert read(mixed + END).image == read(mixed + record(8, 0)).image


def test_data_past_the_width_go_on_in_a_wider_record() -> None:
    """S1 over 64 KiB is taken if S2 continues from its last byte; that is noted."""
    over = record(1, 0xFFFE, b"\x11\x22\x33\x44")
    dump = read(HEAD + over + record(2, 0x10002, b"\x55") + record(8, 0))
    assert [tuple(block) for block in dump.image.blocks] == [(0xFFFE, b"\x11\x22\x33\x44\x55")]
    assert [(f.code, f.line) for f in dump.findings] == [
        ("srec-past-width", 2),
        ("srec-mixed-widths", None),
    ]


def test_last_data_past_the_width_are_taken_where_counted() -> None:
    """S1 over 64 KiB is taken if a count ends the file and no terminator contradicts it."""
    dump = read(HEAD + record(1, 0xFFFE, b"\x11\x22\x33\x44") + record(5, 1))
    assert [tuple(block) for block in dump.image.blocks] == [(0xFFFE, b"\x11\x22\x33\x44")]
    assert [(f.code, f.line) for f in dump.findings] == [
        ("srec-past-width", 2),
        ("srec-no-terminator", 3),
    ]


def test_empty_data_records_count() -> None:
    """A count counts data records, those without bytes among them."""
    assert read(HEAD + FOUR + record(1, 0) + record(5, 2) + END).image.size == 4


ALLOWED = {
    NO_END: (HEAD + FOUR + MORE, "srec-no-end-accepted"),
    ODD_END: (HEAD + FOUR + MORE + record(7, 0), "srec-odd-end-accepted"),
    SAME_BYTE_TWICE: (HEAD + FOUR + FOUR + MORE + END, "srec-same-byte-twice-accepted"),
    TEXT_AROUND: (
        b"Sent 2\n> dump\n" + HEAD + FOUR + MORE + END + b"Sent 4 bytes\n",
        "srec-text-around-accepted",
    ),
    TRAILING_BLANKS: (
        HEAD + FOUR[:-1] + b"  \n" + MORE[:-1] + b"\t\n" + END,
        "srec-trailing-blanks-accepted",
    ),
    LOWER_CASE_S: ((HEAD + FOUR + MORE + END).replace(b"S", b"s"), "srec-lower-case-s-accepted"),
    BYTE_ORDER_MARK: (
        b"\xef\xbb\xbf" + HEAD + FOUR + MORE + END,
        "srec-byte-order-mark-accepted",
    ),
}


@pytest.mark.parametrize("name", ALLOWED)
def test_named_allowance_lets_one_thing_pass(name: str) -> None:
    """Named, it is taken with a finding; the other allowances do not let it pass."""
    data, code = ALLOWED[name]
    assert [finding.code for finding in read(data, name).findings] == [code]
    with pytest.raises(DumpRefused):
        read(data, *(ALLOWED.keys() - {name}))
