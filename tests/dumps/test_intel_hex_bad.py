"""Every defect of an Intel HEX file, by its name."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from parambak.dumps import intel_hex
from parambak.dumps.dump import SAME_BYTE_TWICE, TEXT_AROUND, WRAP, Dump, Terms
from parambak.dumps.limits import MAX_FILE, MAX_IMAGE, MAX_LINES
from parambak.dumps.registry import read_dump
from parambak.errors import DumpRefused, ParambakError


def record(kind: int, offset: int, data: bytes = b"") -> bytes:
    """Return one line, its checksum right."""
    body = bytes((len(data), offset >> 8, offset & 0xFF, kind)) + data
    return b":" + (body + bytes((-sum(body) & 0xFF,))).hex().upper().encode() + b"\n"


def wrong_sum(line: bytes) -> bytes:
    """Return the line with its checksum one higher."""
    digits = line.strip()
    return digits[:-2] + b"%02X\n" % ((int(digits[-2:], 16) + 1) & 0xFF)


END = b":00000001FF\n"
FOUR = record(0, 0x0010, b"\x11\x22\x33\x44")
MORE = record(0, 0x0014, b"\x55\x66")


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
    "empty file": Bad(b"", "hex-empty", expected="records", found="0 bytes without one"),
    "blank file": Bad(b"\n  \r\n\n", "hex-empty", found="6 bytes without one"),
    "end record only": Bad(END, "hex-no-data", expected="a data record (type 00)", found="none"),
    "end record missing": Bad(
        FOUR + MORE, "hex-no-end", 2, expected=":00000001FF", found=":0200140055662F"
    ),
    "cut at a line's end, blanks after": Bad(FOUR + b"\n\n", "hex-no-end", 1),
    "last record cut short": Bad(
        FOUR + MORE[:10],
        "hex-cut-short",
        2,
        expected="14 digits after the colon",
        found="9",
    ),
    "end record cut short": Bad(FOUR + END[:7], "hex-cut-short", 2, found="6"),
    "last record cut to its colon": Bad(FOUR + b":", "hex-cut-short", 2, found="0"),
    "data after the end record": Bad(
        FOUR + END + MORE,
        "hex-after-end",
        3,
        expected="nothing after the end",
        found=":0200140055662F",
    ),
    "second end record": Bad(FOUR + END + END, "hex-after-end", 3),
    "cut record after the end record": Bad(FOUR + END + b":02", "hex-after-end", 3),
    "checksum off by one": Bad(
        FOUR + wrong_sum(MORE) + END, "hex-checksum", 2, expected="2F", found="30"
    ),
    "length byte too small": Bad(
        b":0300100011223344" + b"43\n" + END,
        "hex-length",
        1,
        expected="3 data bytes",
        found="4",
    ),
    "length byte too large": Bad(
        b":0500100011223344" + b"41\n" + END,
        "hex-length",
        1,
        expected="5 data bytes",
        found="4",
    ),
    "fewer digits than any record": Bad(
        b":0000\n" + END, "hex-length", 1, expected="10 digits after the colon", found="4"
    ),
    "odd number of digits": Bad(
        FOUR[:-2] + b"\n" + END,
        "hex-odd-digits",
        1,
        expected="18 digits after the colon",
        found="17",
    ),
    "one digit too many": Bad(FOUR[:-1] + b"0\n" + END, "hex-odd-digits", 1, found="19"),
    "digit not hexadecimal": Bad(
        FOUR.replace(b"22", b"2G") + END,
        "hex-digit",
        1,
        expected="hexadecimal digits",
        found="'G' in column 13",
    ),
    "full-width digit": Bad(
        FOUR.replace(b"22", b"2\xef\xbc\x92") + END,
        "hex-digit",
        1,
        found="'\\u{00EF}' in column 13",
    ),
    "space inside a record": Bad(FOUR.replace(b"22", b" 2") + END, "hex-digit", 1),
    "NUL inside a record": Bad(
        FOUR.replace(b"22", b"\x002") + END, "hex-digit", 1, found="'\\u{0000}' in column 12"
    ),
    "text before the colon": Bad(
        FOUR + b"> " + MORE + END,
        "hex-text-before",
        2,
        expected="a record, beginning with a colon",
        found="> :0200140055662F",
    ),
    "text after the checksum": Bad(
        FOUR[:-1] + b" ;ok\n" + END,
        "hex-text-after",
        1,
        expected="nothing after the checksum",
        found=" ;ok",
    ),
    "blank after the checksum": Bad(FOUR[:-1] + b" \n" + END, "hex-trailing-blanks", 1, found=" "),
    "two records on a line": Bad(
        FOUR[:-1] + MORE + END, "hex-two-records", 1, expected="one record on a line"
    ),
    "a record broken by the next": Bad(FOUR[:8] + MORE + END, "hex-two-records", 1),
    "line among the records that is none": Bad(
        FOUR + b"hello\n" + MORE + END, "hex-not-a-record", 2, found="hello"
    ),
    "end record with data": Bad(
        FOUR + record(1, 0, b"\x00"), "hex-end-data", 2, expected="length 00", found="length 01"
    ),
    "type 02 of length 1": Bad(
        record(2, 0, b"\x10") + FOUR + END,
        "hex-base-length",
        1,
        expected="length 02",
        found="length 01",
    ),
    "type 04 of length 4": Bad(
        record(4, 0, bytes(4)) + FOUR + END, "hex-base-length", 1, found="length 04"
    ),
    "type 03 of length 2": Bad(
        record(3, 0, bytes(2)) + FOUR + END,
        "hex-start-length",
        1,
        expected="length 04",
        found="length 02",
    ),
    "type 05 of length 5": Bad(
        FOUR + record(5, 0, bytes(5)) + END, "hex-start-length", 2, found="length 05"
    ),
    "types 02 and 04 in one file": Bad(
        record(2, 0, b"\x10\x00") + FOUR + record(4, 0, b"\x00\x01") + FOUR + END,
        "hex-both-bases",
        3,
        expected="type 02 throughout",
        found="type 04",
    ),
    "type 04 after type 02, data between the reset and it": Bad(
        record(2, 0, b"\x10\x00")
        + FOUR
        + record(2, 0, bytes(2))
        + MORE
        + record(4, 0, b"\x00\x10")
        + FOUR
        + END,
        "hex-both-bases",
        5,
    ),
    "type 02 after type 04": Bad(
        record(4, 0, bytes(2)) + FOUR + record(2, 0, b"\x10\x00") + FOUR + END,
        "hex-both-bases",
        3,
        expected="type 04 throughout",
        found="type 02",
    ),
    "type 02 again after a change to type 04": Bad(
        record(2, 0, bytes(2)) + record(4, 0, bytes(2)) + FOUR + record(2, 0, bytes(2)) + END,
        "hex-both-bases",
        4,
    ),
    "two different start addresses": Bad(
        record(5, 0, b"\x00\x00\x00\xcd") + FOUR + record(5, 0, b"\x00\x00\x00\xce") + END,
        "hex-two-starts",
        3,
        expected="type 05, 000000CD",
        found="type 05, 000000CE",
    ),
    "start addresses of both types": Bad(
        record(3, 0, bytes(4)) + FOUR + record(5, 0, bytes(4)) + END, "hex-two-starts", 3
    ),
    "one address given two bytes": Bad(
        FOUR + MORE + record(0, 0x0012, b"\x99") + END,
        "hex-conflict",
        3,
        0x12,
        "33 at 0x0012, as in an earlier record",
        "99",
    ),
    "two bytes given where the same byte twice is allowed": Bad(
        FOUR + record(0, 0x0013, b"\x44\x99") + MORE + END,
        "hex-conflict",
        3,
        0x14,
        "99 at 0x0014, as in an earlier record",
        "55",
        Terms(frozenset({SAME_BYTE_TWICE})),
    ),
    "bytes 4 GiB apart": Bad(
        FOUR + record(4, 0, b"\xff\xff") + record(0, 0xFFFF, b"\x01") + END,
        "hex-span",
        3,
        0xFFFFFFFF,
        "at most 536870912 bytes from the first to the last",
        "addresses 0x0010 to 0xFFFFFFFF",
    ),
    "address past the declared chip": Bad(
        FOUR + END,
        "hex-outside",
        1,
        0x12,
        "addresses 0x0000 to 0x0011",
        "0x0012",
        Terms(memory_size=0x12),
    ),
    "address below the declared chip": Bad(
        FOUR + END, "hex-outside", 1, 0x10, terms=Terms(memory_size=0x100, base=0x11)
    ),
    "UTF-8 byte-order mark": Bad(
        b"\xef\xbb\xbf" + FOUR + END,
        "hex-byte-order-mark",
        1,
        0,
        "plain ASCII",
        "a UTF-8 byte-order mark",
    ),
    "UTF-16 with a mark": Bad(
        (FOUR + END).decode().encode("utf-16"),
        "hex-encoding",
        1,
        0,
        found="a UTF-16 byte-order mark, low byte first",
    ),
    "UTF-16 without a mark": Bad(
        (FOUR + END).decode().encode("utf-16-be"), "hex-encoding", 1, 0, found="UTF-16"
    ),
    "file over the cap": Bad(
        b"\n" * (MAX_FILE + 1),
        "dump-too-large",
        expected="at most 67108864 bytes",
        found="67108865 bytes",
    ),
    "lines over the cap": Bad(
        FOUR + b"\n" * MAX_LINES + END,
        "hex-too-many-lines",
        expected="at most 2500000 lines",
        found="2500002",
    ),
    "lines over the cap, where text around is allowed": Bad(
        b":\n" * (2 * MAX_LINES + 1) + FOUR + END,
        "hex-too-many-lines",
        terms=Terms(frozenset({TEXT_AROUND})),
    ),
    "bytes over the cap": Bad(
        b"".join(
            record(4, 0, bank.to_bytes(2, "big"))
            + b"".join(record(0, at, bytes(128)) for at in range(0, 65536, 128))
            for bank in range(MAX_IMAGE // 65536)
        )
        + record(4, 0, b"\x01\x00")
        + FOUR
        + END,
        "hex-too-many-bytes",
        131330,
        expected="at most 16777216 bytes",
        found="more",
    ),
    "S-records in a file named as HEX": Bad(
        b"S1071000112233443E\nS9030000FC\n",
        "dump-name-differs",
        expected="intel-hex, by the name",
        found="s-record",
    ),
    "one address given the same byte twice": Bad(
        FOUR + record(0, 0x0012, b"\x33") + END,
        "hex-same-byte-twice",
        2,
        0x12,
        "0x0012 given once",
        "33 given again",
    ),
    "type 02 data over the segment's end": Bad(
        record(2, 0, b"\x10\x00") + record(0, 0xFFFE, b"\x11\x22\x33\x44") + END,
        "hex-wrap",
        2,
        0x1FFFE,
        "at most 2 bytes from 0x0001FFFE",
        "4 bytes",
    ),
    "data over a segment's end before the first type 02": Bad(
        record(0, 0xFFFE, b"\x11\x22\x33\x44") + record(2, 0, b"\x10\x00") + FOUR + END,
        "hex-wrap",
        1,
        0xFFFE,
    ),
    "data over the 4 GiB top": Bad(
        record(4, 0, b"\xff\xff") + record(0, 0xFFFE, b"\x11\x22\x33\x44") + END,
        "hex-wrap",
        2,
        0xFFFFFFFE,
        "at most 2 bytes from 0xFFFFFFFE",
        "4 bytes",
    ),
    "text before the first record": Bad(b"OK\n" + FOUR + END, "hex-text-around", 1, found="OK"),
    "text after the last record": Bad(
        FOUR + END + b"done\n", "hex-text-around", 3, expected="nothing after the end"
    ),
    "a record hidden in the text around": Bad(
        b"> " + FOUR + MORE + END,
        "hex-text-before",
        1,
        terms=Terms(frozenset({TEXT_AROUND})),
    ),
    "a record after the end where text around is allowed": Bad(
        FOUR + END + b"done\n" + MORE, "hex-text-around", 3, terms=Terms(frozenset({TEXT_AROUND}))
    ),
    "more padding than fills a block": Bad(
        FOUR + END + b"\x1a" * 2000,
        "hex-padding",
        offset=32,
        expected="at most 992 bytes",
        found="2000 bytes",
    ),
    "padding where the end record is missing": Bad(FOUR + b"\x00" * 100, "hex-no-end", 1),
    "no record in a text": Bad(
        b"hello\n",
        "hex-no-record",
        expected="lines that begin with a colon",
        found="6 bytes without a record",
    ),
    "a chip's bytes": Bad(bytes(range(256)), "hex-no-record", found="256 bytes without a record"),
    "a chip's bytes with a colon after a line end": Bad(b"\x05\n:\x03", "hex-no-record"),
    "a blank chip, all 00": Bad(bytes(64), "hex-no-record"),
    "a blank chip, all FF": Bad(b"\xff\xfe" * 64, "hex-no-record"),
    "addresses that count words of two bytes": Bad(
        b"".join(record(0, at, bytes(16)) for at in (0, 8, 16)) + END,
        "hex-word-addressed",
        offset=8,
        expected="addresses that count bytes",
        found="addresses that count words of 2 bytes",
        terms=Terms(frozenset({SAME_BYTE_TWICE})),
    ),
    "addresses that count words of four bytes": Bad(
        b"".join(record(0, at, bytes(range(at, at + 16))) for at in (0, 4, 8, 12)) + END,
        "hex-word-addressed",
        found="addresses that count words of 4 bytes",
    ),
    "line ends that differ": Bad(
        FOUR[:-1] + b"\r\n" + MORE + END,
        "hex-line-ends",
        expected="the same line end throughout",
        found="1 CR LF, 2 LF alone, 0 CR alone",
    ),
    "an allowance that does not exist": Bad(
        FOUR + END,
        "dump-no-such-allowance",
        found="anything",
        terms=Terms(frozenset({"anything"})),
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_damaged_file_is_refused_by_its_defect(name: str) -> None:
    """Each defect has its own code, its line or offset, what was expected and what found."""
    bad = BAD[name]
    with pytest.raises(ParambakError) as caught:
        read_dump("dump.hex", bad.data, terms=bad.terms)
    error = caught.value.document()
    assert error["code"] == bad.code
    for key in ("line", "offset", "expected", "found"):
        wanted = getattr(bad, key)
        assert wanted is None or error[key] == wanted
    assert error["next"]


@pytest.mark.parametrize("kind", range(6, 256))
def test_unknown_record_type_is_refused_by_its_number(kind: int) -> None:
    """Types 06 to FF are refused, those of Universal Hex (0A to 0D) among them."""
    with pytest.raises(DumpRefused) as caught:
        intel_hex.read(FOUR + record(kind, 0, b"\x00") + END)
    assert (caught.value.code, caught.value.line) == ("hex-type", 2)
    assert caught.value.found == f"{kind:02X}"


def read(data: bytes, *accepted: str, **terms: int) -> Dump:
    """Return the dump, taken on the terms named."""
    return intel_hex.read(data, terms=Terms(frozenset(accepted), **terms))


NOTED = {
    "hex-lower-case": (FOUR + MORE + END.lower(), 3),
    "hex-blank-line": (FOUR + b"\n \t\n" + MORE + END, 2),
    "hex-padding-found": (FOUR + MORE + END + b"\x1a" + b"\x00" * 80, None),
    "hex-end-address": (FOUR + MORE + record(1, 0x1234), 3),
    "hex-zero-field": (record(4, 0x0001, bytes(2)) + FOUR + MORE + END, 1),
    "hex-empty-record": (FOUR + record(0, 0x1234) + MORE + END, 2),
    "hex-line-end": ((FOUR + MORE + END).replace(b"\n", b"\r\n"), None),
}


@pytest.mark.parametrize("code", NOTED)
def test_harmless_oddity_is_noted(code: str) -> None:
    """It is accepted with a finding, and changes no byte."""
    data, line = NOTED[code]
    dump = read(data)
    assert [(finding.code, finding.line) for finding in dump.findings] == [(code, line)]
    assert dump.image == read(FOUR + MORE + END).image


@pytest.mark.parametrize("line_end", [b"\r", b"\r\n", b"\r\r\n", b"\n\r"])
def test_any_consistent_line_end_is_noted(line_end: bytes) -> None:
    """Carriage returns of any consistent kind are accepted with a finding."""
    dump = read((FOUR + MORE + END).replace(b"\n", line_end))
    assert [finding.code for finding in dump.findings] == ["hex-line-end"]
    assert dump.image == read(FOUR + MORE + END).image


def test_type_04_right_after_a_reset_of_type_02() -> None:
    """With the segment base 0, readers that add both bases agree with those that add the last."""
    data = record(2, 0, b"\x10\x00") + FOUR + record(2, 0, bytes(2)) + record(4, 0, b"\x00\x10")
    dump = read(data + MORE + record(4, 0, b"\x00\x20") + FOUR + END)
    assert [block.start for block in dump.image.blocks] == [0x10010, 0x100014, 0x200010]
    assert [(f.code, f.line) for f in dump.findings] == [("hex-base-changes", 4)]


def test_as_many_lines_as_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit itself is within the limit; the last line's end begins no further one."""
    monkeypatch.setattr("parambak.dumps.text.MAX_LINES", 4)
    for last in (END, END[:-1]):
        assert read(FOUR + MORE + b"\n" + last).image.size == 6
    with pytest.raises(DumpRefused) as caught:
        read(FOUR + MORE + b"\n\n" + END)
    assert (caught.value.code, caught.value.found) == ("hex-too-many-lines", "5")


def test_as_many_pieces_as_may_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit itself is within the limit; beyond it, both numbers are stated."""
    monkeypatch.setattr("parambak.dumps.placing.MAX_RANGES", 2)
    apart = [record(0, 16 * index, b"\x01") for index in range(3)]
    assert len(read(b"".join(apart[:2]) + END).image.ranges) == 2
    with pytest.raises(DumpRefused) as caught:
        read(b"".join(apart) + END)
    assert caught.value.code == "hex-too-many-ranges"
    assert (caught.value.expected, caught.value.found) == ("at most 2 stretches of addresses", "3")


def test_plain_file_has_no_finding() -> None:
    """A file as any converter writes it is noted for nothing, its last line ended or not."""
    assert read(FOUR + END).findings == ()
    assert read((FOUR + END)[:-1]).findings == ()


def test_bytes_left_out_are_noted_by_the_profile() -> None:
    """If the profile states that FF is left out, the absent bytes are counted, not filled."""
    dump = read(FOUR + END, memory_size=32, left_out=0xFF)
    assert [finding.code for finding in dump.findings] == ["hex-left-out"]
    assert "28 bytes" in dump.findings[0].text
    assert dump.image.size == 4


def test_same_byte_twice_is_accepted_where_named() -> None:
    """Named, it is taken, with a finding at the first address."""
    dump = read(FOUR + record(0, 0x0012, b"\x33\x44") + MORE + END, SAME_BYTE_TWICE)
    assert [(f.code, f.line, f.offset) for f in dump.findings] == [
        ("hex-same-byte-twice-accepted", 2, 0x12)
    ]
    assert dump.image.content == b"\x11\x22\x33\x44\x55\x66"


def test_segment_wrap_is_placed_by_the_standard() -> None:
    """Type 02 data go on at the segment's start: (base + (offset + index) MOD 64K)."""
    data = record(2, 0, b"\x10\x00") + record(0, 0xFFFE, b"\x11\x22\x33\x44") + END
    dump = read(data, WRAP)
    assert [tuple(block) for block in dump.image.blocks] == [
        (0x10000, b"\x33\x44"),
        (0x1FFFE, b"\x11\x22"),
    ]
    assert [finding.code for finding in dump.findings] == ["hex-wrap-accepted"]


def test_wrap_at_the_top_passes_the_span() -> None:
    """Named, data over the 4 GiB top go to address 0, and so lie too far apart."""
    data = record(4, 0, b"\xff\xff") + record(0, 0xFFFE, b"\x11\x22\x33\x44") + END
    with pytest.raises(DumpRefused) as caught:
        read(data, WRAP)
    assert caught.value.code == "hex-span"


def test_past_64k_without_base_goes_straight_on() -> None:
    """Without any base record every converter goes straight on; that is noted."""
    dump = read(record(0, 0xFFFE, b"\x11\x22\x33\x44") + END)
    assert dump.image.ranges == ((0xFFFE, 4),)
    assert [finding.code for finding in dump.findings] == ["hex-past-64k"]


def test_text_around_is_left_aside_where_named() -> None:
    """A captured serial session gives its records, and line numbers stay the file's own."""
    session = b"login: x\r\nDUMP\r\n" + (FOUR + MORE + END).replace(b"\n", b"\r\n") + b"OK\r\n> "
    dump = read(session, TEXT_AROUND)
    assert dump.image.content == b"\x11\x22\x33\x44\x55\x66"
    assert "hex-text-around-accepted" in {finding.code for finding in dump.findings}
    with pytest.raises(DumpRefused) as caught:
        read(session.replace(b"5566", b"5567"), TEXT_AROUND)
    assert (caught.value.code, caught.value.line) == ("hex-checksum", 4)


def test_start_addresses_stated_twice_alike_are_one() -> None:
    """The same start address twice is no contradiction."""
    start = record(5, 0, b"\x00\x00\x00\xcd")
    assert read(start + FOUR + start + END).start_address == 0xCD
