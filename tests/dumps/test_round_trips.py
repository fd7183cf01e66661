"""What is written is read back the same."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parambak.dumps.dump import Style, Terms
from parambak.dumps.registry import FORMATS, read_dump, write_dump
from parambak.dumps.second_opinion import second_opinion
from parambak.errors import ParambakError
from parambak.memory.image import Block, Image

BLOCK = st.builds(Block, st.integers(0, 0x1_0800), st.binary(min_size=1, max_size=300))
IMAGE = st.lists(BLOCK, min_size=1, max_size=4).map(
    lambda blocks: Image.from_blocks(
        Block(index * 0x1_1000 + block.start, block.data) for index, block in enumerate(blocks)
    )
)


@given(
    image=IMAGE,
    length=st.one_of(st.none(), st.integers(1, 250)),
    width=st.sampled_from((None, 20, 24, 32)),
    line_end=st.sampled_from((b"\n", b"\r\n", b"\r")),
    header=st.binary(max_size=20),
)
def test_text_formats_return_the_image(
    image: Image, length: int | None, width: int | None, line_end: bytes, header: bytes
) -> None:
    """Every record length, address width, line end and header gives the image back."""
    for name, widths in (("intel-hex", (None, 20, 32)), ("s-record", (None, 24, 32))):
        if width not in widths:
            continue
        mine = header if name == "s-record" else b""
        style = Style(record_length=length, address_width=width, line_end=line_end, header=mine)
        data = write_dump(image, name, style)
        dump = read_dump("dump", data)
        assert (dump.format, dump.image) == (name, image)
        assert {f.code for f in dump.findings} <= {"hex-line-end", "srec-line-end"}
        if name == "s-record":
            assert (dump.header, dump.start_address) == (header, 0)
        assert second_opinion(data, dump).agrees


@given(image=IMAGE, fill=st.integers(0, 255))
def test_raw_returns_every_byte_present(image: Image, fill: int) -> None:
    """Addresses survive: byte 0 of the file is at the base."""
    data = write_dump(image, "raw", Style(base=image.start, fill=fill))
    back = read_dump("dump.bin", data, format="raw", terms=Terms(base=image.start)).image
    assert all(back.read(start, len(data)) == data for start, data in image.blocks)
    assert back.end == image.end


def test_golden_intel_hex() -> None:
    """The bytes of a written file are fixed: base records only if they are needed."""
    image = Image.from_blocks([Block(0xFFFE, b"\x01\x02\x03"), Block(0x20000, b"\x04")])
    assert write_dump(image, "intel-hex") == (
        b":02FFFE000102FE\n:020000040001F9\n:0100000003FC\n:020000040002F8\n:0100000004FB\n"
        b":00000001FF\n"
    )
    assert write_dump(image, "intel-hex", Style(address_width=20)).startswith(
        b":02FFFE000102FE\n:020000021000EC\n"
    )


def test_golden_s_record() -> None:
    """Header, data, count and terminator, in the narrowest width that holds the image."""
    assert write_dump(Image.of(b"\x01\x02", 0x10), "s-record", Style(header=b"HDR")) == (
        b"S00600004844521B\nS10500100102E7\nS5030001FB\nS9030000FC\n"
    )
    assert write_dump(Image.of(b"\x01", 0x10000), "s-record").splitlines()[1][:2] == b"S2"
    assert write_dump(Image.of(b"\x01", 0x1000000), "s-record").splitlines()[1][:2] == b"S3"


def test_many_records_are_counted_in_s6() -> None:
    """A count over 65,535 does not fit S5 and is in S6."""
    data = write_dump(Image.of(bytes(65_536)), "s-record", Style(record_length=1))
    assert data.splitlines()[-2] == b"S604010000FA"
    assert read_dump("dump", data).findings == ()


WRONG = {
    "image past 16 bits": ("intel-hex", Style(address_width=16)),
    "width of another format": ("intel-hex", Style(address_width=24)),
    "record of no bytes": ("intel-hex", Style(record_length=0)),
    "record too long for HEX": ("intel-hex", Style(record_length=256)),
    "record too long for S3": ("s-record", Style(record_length=251, address_width=32)),
    "header in HEX": ("intel-hex", Style(header=b"x")),
    "header too long": ("s-record", Style(header=bytes(253))),
    "fill in a text format": ("s-record", Style(fill=0xFF)),
    "base in a text format": ("intel-hex", Style(base=1)),
    "line end that is none": ("intel-hex", Style(line_end=b" ")),
}


@pytest.mark.parametrize("name", WRONG)
def test_style_that_does_not_fit_is_refused(name: str) -> None:
    """No option is passed over."""
    format_name, style = WRONG[name]
    with pytest.raises(ParambakError) as caught:
        write_dump(Image.of(b"\x01\x02", 0x10000), format_name, style)
    assert caught.value.code == "dump-style"


def test_segment_addresses_end_at_1_mib() -> None:
    """Type 02 reaches 1 MiB, and no image past it is written that way."""
    with pytest.raises(ParambakError) as caught:
        write_dump(Image.of(b"\x01", 0x100000), "intel-hex", Style(address_width=20))
    assert caught.value.code == "dump-style"


@pytest.mark.parametrize("name", FORMATS)
def test_empty_image_is_not_written(name: str) -> None:
    """There is nothing to write."""
    with pytest.raises(ParambakError) as caught:
        write_dump(Image(()), name)
    assert caught.value.code == "dump-nothing-to-write"
