"""Published Intel HEX records, and published wrong ones, each with its source."""

from __future__ import annotations

import pytest

from parambak.dumps import intel_hex
from parambak.dumps.dump import WRAP, Terms
from parambak.errors import DumpRefused

END = ":00000001FF\n"
"""Intel, Hexadecimal Object File Format Specification, Revision A, 1/6/88, section 8."""

DATA = {
    "keil.com, oh51_ih_datarec.htm": (
        ":10246200464C5549442050524F46494C4500464C33\n",
        0x2462,
        b"FLUID PROFILE\x00FL",
    ),
    "Wikipedia, Intel HEX": (":0B0010006164647265737320676170A7\n", 0x0010, b"address gap"),
    "Ultra-High-Speed Flash Microcontroller User's Guide, p. 168": (
        ":20000000" + bytes(range(1, 33)).hex() + "D0\n"
        ":0F002000" + bytes(range(33, 48)).hex() + "79\n",
        0,
        bytes(range(1, 48)),
    ),
}


@pytest.mark.parametrize("source", DATA)
def test_published_data_record(source: str) -> None:
    """The bytes are at the address that the source gives."""
    text, start, data = DATA[source]
    dump = intel_hex.read((text.upper() + END).encode())
    assert [tuple(block) for block in dump.image.blocks] == [(start, data)]
    assert dump.findings == ()


BASES = {
    "keil.com, oh51_ih_segrec.htm": (":020000021000EC\n", 0x10000),
    "Wikipedia, Intel HEX: type 02": (":020000021200EA\n", 0x12000),
    "Wikipedia, Intel HEX: type 04; Keil note": (":02000004FFFFFC\n", 0xFFFF0000),
}


@pytest.mark.parametrize("source", BASES)
def test_published_base_record(source: str) -> None:
    """A byte at offset 0 is at the base that the source gives."""
    text, base = BASES[source]
    dump = intel_hex.read((text + ":0100000001FE\n" + END).encode())
    assert dump.image.ranges == ((base, 1),)


STARTS = {
    "Wikipedia, Intel HEX: type 03, CS 0000 IP 3800": (":0400000300003800C1\n", 0x3800),
    "Wikipedia, Intel HEX: type 05": (":04000005000000CD2A\n", 0xCD),
    "python-intelhex, intelhex/test.py: type 03": (":0400000312345678E5\n", 0x12345678),
    "python-intelhex, intelhex/test.py: type 05": (":0400000512345678E3\n", 0x12345678),
}


@pytest.mark.parametrize("source", STARTS)
def test_published_start_record(source: str) -> None:
    """The start address is the one that the source gives; it holds no data."""
    text, start = STARTS[source]
    dump = intel_hex.read((":0100000001FE\n" + text + END).encode())
    assert (dump.start_address, dump.image.size) == (start, 1)


WRONG = {
    "hex2bin 2.0, doc/formats.txt: end record with sum FE": (":00000001FE\n", "FF", "FE"),
    "hex2bin 2.0, doc/formats.txt: data record with sum 0F": (
        ":0D011C0000000000C3E0FF0000000000C30F\n",
        "71",
        "0F",
    ),
}


@pytest.mark.parametrize("source", WRONG)
def test_published_wrong_record_is_refused(source: str) -> None:
    """Printed in a manual, and wrong all the same."""
    text, right, given = WRONG[source]
    with pytest.raises(DumpRefused) as caught:
        intel_hex.read((text + END).encode())
    error = caught.value
    assert (error.code, error.line, error.expected, error.found) == (
        "hex-checksum",
        1,
        right,
        given,
    )


def test_published_base_record_with_an_address() -> None:
    """hex2bin 2.0, doc/formats.txt: right, but its address field is not zero, so it is noted."""
    dump = intel_hex.read((":02010002E0001B\n:0100000001FE\n" + END).encode())
    assert dump.image.ranges == ((0xE0000, 1),)
    assert [finding.code for finding in dump.findings] == ["hex-zero-field"]


@pytest.mark.parametrize("kind", ["0A", "0B", "0C", "0D"])
def test_universal_hex_is_refused(kind: str) -> None:
    """Types 0A to 0D of the repository microbit-foundation/spec-universal-hex are not Intel's."""
    checksum = -int(kind, 16) & 0xFF
    with pytest.raises(DumpRefused) as caught:
        intel_hex.read((f":000000{kind}{checksum:02X}\n" + END).encode())
    assert (caught.value.code, caught.value.found) == ("hex-type", kind)


def test_segment_wrap_of_the_specification() -> None:
    """Intel, 1/6/88: SBA + ([DRLO + DRI] MOD 64K), so 33 44 are at 10000."""
    text = ":020000021000EC\n:04FFFE001122334455\n" + END
    dump = intel_hex.read(text.encode(), terms=Terms(frozenset({WRAP})))
    assert [tuple(block) for block in dump.image.blocks] == [
        (0x10000, b"\x33\x44"),
        (0x1FFFE, b"\x11\x22"),
    ]
