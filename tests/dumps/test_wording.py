"""The text of every refusal and every note, word for word.

The words are what the engineer on board acts on, so none of them changes unseen. After a
change that is intended, run `python -m tests.dumps.test_wording` and read the difference.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from parambak.dumps.dump import (
    LOOKS_OTHERWISE,
    NO_END,
    SAME_BYTE_TWICE,
    TEXT_AROUND,
    WRAP,
    Style,
    Terms,
)
from parambak.dumps.limits import MAX_IMAGE
from parambak.dumps.registry import FORMATS, read_dump, write_dump
from parambak.errors import ParambakError
from parambak.memory.image import Block, Image
from tests.dumps import test_intel_hex_bad as hexes
from tests.dumps import test_s_record_bad as srecs

if TYPE_CHECKING:
    from collections.abc import Iterator

GOLDEN = Path(__file__).with_name("wording.txt")
END, FOUR, MORE = hexes.END, hexes.FOUR, hexes.MORE
S_END, S_FOUR, S_MORE = srecs.END, srecs.FOUR, srecs.MORE
AROUND = Terms(frozenset({TEXT_AROUND}))
TWICE = Terms(frozenset({SAME_BYTE_TWICE}))
WRAPS = hexes.record(2, 0, b"\x10\x00") + hexes.record(0, 0xFFFE, b"\x11\x22\x33\x44") + END
LINE_OF_60, LINE_OF_61 = b"x" * 60 + b"\n", b"x" * 61 + b"\n"

HEX_FILES: dict[str, tuple[bytes, Terms]] = {
    "record type 06": (FOUR + hexes.record(6, 0) + END, Terms()),
    "one digit": (b":0\n" + END, Terms()),
    "the length alone": (b":05\n" + END, Terms()),
    "five bytes told, none there": (b":0500000000\n" + END, Terms()),
    "five bytes told, one there": (b":050000000000\n" + END, Terms()),
    "a length over 0F, cut": (b":1100000000\n" + END, Terms()),
    "nine digits": (b":050000000\n" + END, Terms()),
    "text before records, no end": (b"hello\n" + FOUR, Terms()),
    "text after records, no end": (FOUR + b"hello\n", Terms()),
    "text between records, no end": (FOUR + b"hello\n" + MORE, Terms()),
    "60 characters after the end": (FOUR + END + LINE_OF_60, Terms()),
    "61 characters after the end": (FOUR + END + LINE_OF_61, Terms()),
    "a record in the text after the end": (FOUR + END + b"x :00000001FF\n", Terms()),
    "blank first line, cut last": (b"\n" + FOUR + MORE[:8], Terms()),
    "blank lines, three": (FOUR + b"\n\n \n" + END, Terms()),
    "text around, LF": (b"a\nb\n" + FOUR + END + b"c\n", AROUND),
    "text around, CR": ((b"a\nb\n" + FOUR + END + b"c\n").replace(b"\n", b"\r"), AROUND),
    "text around, CR LF": ((b"a\nb\n" + FOUR + END + b"c\n").replace(b"\n", b"\r\n"), AROUND),
    "text before only": (b"a\n" + FOUR + END, AROUND),
    "text after only": (FOUR + END + b"c\n", AROUND),
    "text around named, and none": (FOUR + END, AROUND),
    "text around, flaw between": (b"a\nb\n" + hexes.wrong_sum(FOUR) + END + b"c\n", AROUND),
    "text around, flaw between, CR": (
        (b"a\nb\n" + hexes.wrong_sum(FOUR) + END).replace(b"\n", b"\r"),
        AROUND,
    ),
    "the letter X alone": (b"XX\n", Terms()),
    "text alone": (b"a\nb\n", AROUND),
    "a record in the text before": (b"a\nb x" + MORE + FOUR + END, AROUND),
    "a record in the text after": (FOUR + END + b"b\nc\nd x" + MORE, AROUND),
    "a record in the text after, CR": (
        (FOUR + END + b"b\nc\nd x" + MORE).replace(b"\n", b"\r"),
        AROUND,
    ),
    "wrapped": (WRAPS, Terms(frozenset({WRAP}))),
    "wrapped, first part outside": (WRAPS, Terms(frozenset({WRAP}), memory_size=0x1FFFF)),
    "wrapped, second part outside": (
        WRAPS,
        Terms(frozenset({WRAP}), memory_size=0x10000, base=0x10001),
    ),
    "past 64 KiB": (hexes.record(0, 0xFFFE, b"\x11\x22\x33\x44") + END, Terms()),
    "type 03 with an address": (FOUR + hexes.record(3, 1, bytes(4)) + END, Terms()),
    "type 02 with an address": (hexes.record(2, 1, bytes(2)) + FOUR + END, Terms()),
    "conflict in a record's third byte": (
        MORE + hexes.record(0, 0x0012, b"\x33\x44\x99\x98") + END,
        TWICE,
    ),
    "same bytes, not named": (MORE + hexes.record(0, 0x0012, b"\x33\x44\x55\x66") + END, Terms()),
    "same bytes, named": (MORE + hexes.record(0, 0x0012, b"\x33\x44\x55\x66") + END, TWICE),
    "same bytes twice and again": (FOUR + FOUR + FOUR + END, TWICE),
    "same bytes in the second stretch, named": (
        FOUR + hexes.record(0, 0x100, b"\x01\x02") + hexes.record(0, 0x101, b"\x02\x03") + END,
        TWICE,
    ),
    "conflict in the third stretch": (
        FOUR
        + hexes.record(0, 0x100, b"\x01\x02")
        + hexes.record(0, 0x200, b"\x01\x02")
        + hexes.record(0, 0x201, b"\x03")
        + END,
        TWICE,
    ),
    "lines out of order that touch": (MORE + FOUR + END, Terms()),
    "addresses about 64 KiB": (
        hexes.record(4, 0, b"\x00\x01") + hexes.record(0, 0, b"\x01") + END,
        Terms(memory_size=0x10000),
    ),
    "left out, chip undeclared": (
        FOUR + hexes.record(0, 0x20, b"\x01") + END,
        Terms(left_out=0xFF),
    ),
    "left out, chip declared": (FOUR + END, Terms(memory_size=32, base=4, left_out=0)),
    "nothing left out": (FOUR + END, Terms(left_out=0xFF)),
}
S_FILES: dict[str, tuple[bytes, Terms]] = {
    "the S alone, last": (S_FOUR + b"S", Terms()),
    "the S alone, first": (b"S\n" + S_FOUR + S_END, Terms()),
    "one digit": (b"S10\n" + S_FOUR + S_END, Terms()),
    "type alone": (b"S2\n" + S_FOUR + S_END, Terms()),
    "the count alone": (b"S105\n" + S_FOUR + S_END, Terms()),
    "a count over 0F, cut": (b"S11100000000\n" + S_END, Terms()),
    "a count of nothing": (b"S100\n" + S_END, Terms()),
    "a count of 3, checksum wrong": (b"S1030000FF\n" + S_FOUR + S_END, Terms()),
    "a count of 3, checksum missing": (b"S1030000\n" + S_FOUR + S_END, Terms()),
    "a count of 3, a byte too many": (b"S103000000FC\n" + S_FOUR + S_END, Terms()),
    "a count too small in the last line": (S_FOUR + b"S1020000\n", Terms()),
    "second terminator S8": (S_FOUR + S_END + srecs.record(8, 0), Terms()),
    "no end of S1 and S2": (S_FOUR + srecs.record(2, 0x20, b"\x01"), Terms()),
    "no end, named": (S_FOUR + S_MORE, Terms(frozenset({NO_END}))),
    "left out": (
        S_FOUR + srecs.record(1, 0x20, b"\x01") + S_END,
        Terms(left_out=0xFF),
    ),
    "last data past the width": (
        srecs.record(1, 0xFFFE, b"\x11\x22\x33\x44") + srecs.record(5, 1),
        Terms(),
    ),
}
UTF_16 = (FOUR + END).decode().encode("utf-16-le")
RAW_FILES: dict[str, tuple[bytes, Terms]] = {
    "UTF-16, low byte first, no mark": (UTF_16, Terms()),
    "UTF-16, high byte first, no mark": ((FOUR + END).decode().encode("utf-16-be"), Terms()),
    "UTF-16 with a mark": (b"\xff\xfe" + UTF_16, Terms()),
    "a UTF-8 mark": (b"\xef\xbb\xbf" + FOUR + END, Terms()),
    "00 in the third byte": (b"\x01\x02\x00" + FOUR, Terms()),
    "a record, 00 in the third byte": (FOUR[:2] + b"\x00" + FOUR[2:], Terms()),
    "records in lines of CR": (b"a\rb\r" + FOUR.replace(b"\n", b"\r"), Terms()),
    "a line before": (b"\n\nx" + b"\n" + FOUR, Terms()),
    "named": (b"x\n" + FOUR, Terms(frozenset({LOOKS_OTHERWISE}))),
    "ZIP": (b"PK\x03\x04" + bytes(9), Terms()),
    "as large as may be": (b"\x01" * MAX_IMAGE, Terms()),
    "larger than may be": (b"\x01" * (MAX_IMAGE + 1), Terms()),
    "declared size wrong": (b"\x01" * 5, Terms(memory_size=4)),
}
GAPS = Image.from_blocks([Block(2, b"\x01"), Block(4, b"\x02")])
FAR = Image.of(b"\x01\x02", 0x10000)
STYLES: dict[str, tuple[str, Image, Style]] = {
    "HEX, 33 bytes": ("intel-hex", Image.of(bytes(33)), Style()),
    "HEX, 40 bytes below 64 KiB": ("intel-hex", Image.of(bytes(40), 0xFFD8), Style()),
    "HEX, 16 bits": ("intel-hex", Image.of(bytes(40)), Style(address_width=16)),
    "HEX, records of 255": ("intel-hex", Image.of(bytes(400)), Style(record_length=255)),
    "HEX, 20 bits to 1 MiB": ("intel-hex", Image.of(b"\x01", 0xFFFFF), Style(address_width=20)),
    "HEX, last byte of 4 GiB": ("intel-hex", Image.of(b"\x01", 0xFFFFFFFF), Style()),
    "HEX, past 4 GiB": ("intel-hex", Image.of(b"\x01\x02", 0xFFFFFFFF), Style()),
    "S-records, 33 bytes": ("s-record", Image.of(bytes(33)), Style()),
    "S-records, 40 bytes below 64 KiB": ("s-record", Image.of(bytes(40), 0xFFD8), Style()),
    "S-records, 40 bytes across 64 KiB": ("s-record", Image.of(bytes(40), 0xFFF8), Style()),
    "S-records, 40 bytes below 16 MiB": ("s-record", Image.of(bytes(40), 0xFFFFD8), Style()),
    "S-records, records of 252": ("s-record", Image.of(bytes(400)), Style(record_length=252)),
    "S-records, records of 253": ("s-record", Image.of(bytes(400)), Style(record_length=253)),
    "S-records, header of 252": ("s-record", Image.of(b"\x01"), Style(header=bytes(252))),
    "S-records, past 4 GiB": ("s-record", Image.of(b"\x01\x02", 0xFFFFFFFF), Style()),
    "S-records, 65,535 of them": ("s-record", Image.of(bytes(65535)), Style(record_length=1)),
    "raw, as large as may be": ("raw", Image.of(b"\x01", MAX_IMAGE - 1), Style(fill=0)),
    "raw, fill 0": ("raw", GAPS, Style(fill=0)),
    "raw, fill 255": ("raw", GAPS, Style(fill=255)),
    "HEX, nothing to write": ("intel-hex", Image(()), Style()),
    "raw, nothing to write": ("raw", Image(()), Style()),
    "HEX, 16 bits passed": ("intel-hex", FAR, Style(address_width=16)),
    "HEX, 24 bits": ("intel-hex", FAR, Style(address_width=24)),
    "S-records, 20 bits": ("s-record", FAR, Style(address_width=20)),
    "HEX, records of 0": ("intel-hex", FAR, Style(record_length=0)),
    "HEX, records of 256": ("intel-hex", FAR, Style(record_length=256)),
    "S3, records of 251": ("s-record", FAR, Style(record_length=251, address_width=32)),
    "S2, records of 252": ("s-record", FAR, Style(record_length=252)),
    "HEX, header": ("intel-hex", FAR, Style(header=b"x")),
    "S-records, header of 253": ("s-record", FAR, Style(header=bytes(253))),
    "HEX, fill": ("intel-hex", FAR, Style(fill=255)),
    "HEX, base": ("intel-hex", FAR, Style(base=1)),
    "S-records, base": ("s-record", FAR, Style(base=1)),
    "HEX, line end": ("intel-hex", FAR, Style(line_end=b" ")),
    "raw, gap": ("raw", GAPS, Style(base=2)),
    "raw, start after the base": ("raw", GAPS, Style()),
    "raw, base above": ("raw", GAPS, Style(base=3, fill=0)),
    "raw, fill 256": ("raw", GAPS, Style(fill=256)),
    "raw, fill -1": ("raw", GAPS, Style(fill=-1)),
    "raw, header": ("raw", GAPS, Style(fill=0, header=b"x")),
    "raw, far": ("raw", Image.of(b"\x01", MAX_IMAGE), Style(fill=0)),
}


def files() -> Iterator[tuple[str, str, bytes, Terms]]:
    """Yield each case as its name, the file's name, content and terms."""
    for name, bad in hexes.BAD.items():
        yield f"hex, bad: {name}", "a.hex", bad.data, bad.terms
    for code, (data, _) in hexes.NOTED.items():
        yield f"hex, noted: {code}", "a.hex", data, Terms()
    for name, srec in srecs.BAD.items():
        yield f"srec, bad: {name}", "a.s19", srec.data, srec.terms
    for code, (data, _) in srecs.NOTED.items():
        yield f"srec, noted: {code}", "a.s19", data, Terms()
    for code, (data, _) in srecs.ALLOWED.items():
        yield f"srec, allowed: {code}", "a.s19", data, Terms(frozenset({code}))
    for room, file, cases in (
        ("hex", "a.hex", HEX_FILES),
        ("srec", "a.s19", S_FILES),
        ("raw", "a.bin", RAW_FILES),
    ):
        for name, (data, terms) in cases.items():
            yield f"{room}: {name}", file, data, terms


def told(action: object) -> Iterator[str]:
    """Yield the outcome of a call: the parts of its refusal, or its findings and ranges."""
    try:
        dump = action()  # type: ignore[operator]
    except ParambakError as error:
        parts = error.document()
        del parts["file"], parts["next"]
        yield "  refused: " + " | ".join(str(part) for part in parts.values())
        return
    if isinstance(dump, bytes):
        yield f"  {len(dump)} bytes"
        return
    ranges = ", ".join(f"{start:X}+{length}" for start, length in dump.image.ranges[:4])
    yield f"  {dump.format}: {ranges}"
    for finding in dump.findings:
        yield f"  {finding.code} | {finding.text} | {finding.line} | {finding.offset}"


def outcomes() -> str:
    """Return all lines of all cases."""
    lines = []
    for name, file, data, terms in files():
        lines.append(name)
        if file == "a.bin":
            lines += told(lambda: FORMATS["raw"].read(data, terms=terms))  # noqa: B023 - called at once
        else:
            lines += told(lambda: read_dump(file, data, terms=terms))  # noqa: B023 - called at once
    for name, (form, image, style) in STYLES.items():
        lines.append(f"writing: {name}")
        lines += told(lambda: write_dump(image, form, style))  # noqa: B023 - called at once
    return "\n".join(lines) + "\n"


def test_every_refusal_and_note_says_what_it_said() -> None:
    """Code, text, line, offset, expected and found of each case are as written down."""
    written = GOLDEN.read_text("utf-8").splitlines()
    assert outcomes().splitlines() == written


if __name__ == "__main__":
    GOLDEN.write_text(outcomes(), "utf-8")
