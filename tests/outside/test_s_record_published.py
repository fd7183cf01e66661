"""Published S-records, and a published wrong one, each with its source."""

from __future__ import annotations

import pytest

from parambak.dumps import s_record
from parambak.dumps.dump import Style
from parambak.errors import DumpRefused
from parambak.memory import digests
from parambak.memory.image import Image

MODULE = b"""\
S00600004844521B
S1130000285F245F2212226A000424290008237C2A
S11300100002000800082629001853812341001813
S113002041E900084E42234300182342000824A952
S107003000144ED492
S5030004F8
S9030000FC
"""
"""M68000 Family Programmer's Reference Manual, Appendix C, p. C-1 (there without S5);
M68EVB912B32 user's manual, A-3; with S5 as in the Unix manual page srec(5)."""


@pytest.mark.parametrize("count", [True, False])
def test_published_module(count: bool) -> None:
    """52 bytes at 0000 to 0033; CRC-32 and SHA-256 were computed from the published lines."""
    data = MODULE if count else MODULE.replace(b"S5030004F8\n", b"")
    dump = s_record.read(data)
    content = dump.image.content
    assert dump.image.ranges == ((0, 52),)
    assert (dump.header, dump.start_address, dump.findings) == (b"HDR", 0, ())
    assert digests.crc32(content) == "1900D751"
    assert digests.sha256(content) == (
        "3c294e25e13c0829339bffc842d3a0b6f0fa15d412e7c506d4314807ae75e32d"
    )


def test_published_module_is_written_as_published() -> None:
    """Our writer gives the published lines, character for character."""
    image = s_record.read(MODULE).image
    assert s_record.write(image, style=Style(record_length=16, header=b"HDR")) == MODULE


def test_second_published_example() -> None:
    """srecord 1.64, doc/man5/srec_motorola.5."""
    dump = s_record.read(
        b"S00600004844521B\nS110000048656C6C6F2C20576F726C640A9D\nS5030001FB\nS9030000FC\n"
    )
    assert dump.image == Image.of(b"Hello, World\n")


WIDE = {
    "S2": (b"S214000000285F245F2212226A000424290008237C29\nS804001122C8\n", 0x1122),
    "S3": (b"S31500000000285F245F2212226A000424290008237C28\nS70500001122C7\n", 0x1122),
    "S1": (b"S1130000285F245F2212226A000424290008237C2A\nS9031122C9\n", 0x1122),
}


@pytest.mark.parametrize("width", WIDE)
def test_published_line_in_each_width(width: str) -> None:
    """The module's first line in S1, S2 and S3, computed again; terminators of srec(5)."""
    data, start = WIDE[width]
    dump = s_record.read(data)
    assert dump.image == Image.of(s_record.read(MODULE).image.content[:16])
    assert dump.start_address == start


def test_published_header_with_an_address() -> None:
    """hexrec 0.5.1, tests, simple.srec: S0 with an address, S7 with a start address."""
    dump = s_record.read(b"S30812345678616263BD\nS70589ABCDEF0A\n")
    assert dump.image == Image.of(b"abc", 0x12345678)
    assert dump.start_address == 0x89ABCDEF


def test_published_wrong_record_is_refused() -> None:
    """An old PROM splitter wrote this terminator: its count byte is one more than an S9's."""
    module = MODULE.replace(b"S9030000FC", b"S904000000FC")
    with pytest.raises(DumpRefused) as caught:
        s_record.read(module)
    assert (caught.value.code, caught.value.line) == ("srec-checksum", 7)
