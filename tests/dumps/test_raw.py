"""Raw dumps: taken as they are, unless something is plainly wrong with them."""

from __future__ import annotations

import pytest

from parambak.dumps import raw
from parambak.dumps.dump import LOOKS_OTHERWISE, Style, Terms
from parambak.dumps.limits import MAX_IMAGE
from parambak.dumps.registry import FORMATS, read_dump
from parambak.errors import ParambakError
from parambak.memory.image import Block, Image

BAD = {
    "zero bytes": (b"", Terms(), "raw-empty", "the chip's bytes", "0 bytes"),
    "smaller than the chip": (
        b"\x01" * 2047,
        Terms(memory_size=2048),
        "raw-size",
        "2048 bytes",
        "2047 bytes",
    ),
    "larger than the chip": (
        b"\x01" * 2049,
        Terms(memory_size=2048),
        "raw-size",
        "2048 bytes",
        "2049 bytes",
    ),
    "odd size of 16-bit words": (
        b"\x01" * 2047,
        Terms(word_bytes=2),
        "raw-odd-size",
        "a multiple of 2 bytes",
        "2047 bytes",
    ),
    "over the cap": (
        b"\x01" * (MAX_IMAGE + 1),
        Terms(),
        "raw-too-many-bytes",
        "at most 16777216 bytes",
        "16777217 bytes",
    ),
    "Intel HEX with its first line damaged": (
        b":0400100011223344G2\n:00000001FF\n",
        Terms(),
        "raw-looks-otherwise",
        "a chip's bytes",
        "Intel HEX",
    ),
    "Intel HEX after text": (
        b"dump of chip\n:0400100011223344F2\n",
        Terms(),
        "raw-looks-otherwise",
        "a chip's bytes",
        "Intel HEX",
    ),
    "S-records cut in the first line": (
        b"S1130000285F245F",
        Terms(),
        "raw-looks-otherwise",
        "a chip's bytes",
        "S-records",
    ),
    "Intel HEX in UTF-16": (
        ":0400100011223344F2\n".encode("utf-16"),
        Terms(),
        "raw-looks-otherwise",
        "a chip's bytes",
        "records in UTF-16 or after a byte-order mark",
    ),
    "ZIP": (b"PK\x03\x04" + bytes(60), Terms(), "dump-other-file", "a chip's bytes", "ZIP"),
    "ELF": (b"\x7fELF" + bytes(60), Terms(), "dump-other-file", "a chip's bytes", "ELF"),
}


@pytest.mark.parametrize("name", BAD)
def test_damaged_file_is_refused_by_its_defect(name: str) -> None:
    """Each defect has its own code, what was expected and what found."""
    data, terms, code, expected, found = BAD[name]
    with pytest.raises(ParambakError) as caught:
        read_dump("dump.bin", data, terms=terms)
    error = caught.value
    assert (error.code, error.expected, error.found) == (code, expected, found)


def test_line_of_a_hidden_record_is_told() -> None:
    """What looks like a record is pointed at by its line and offset."""
    with pytest.raises(ParambakError) as caught:
        FORMATS["raw"].read(b"dump\r\n\r\n:0400100011223344F2\r\n")
    assert (caught.value.line, caught.value.offset) == (3, 8)


def test_bytes_stand_from_the_base() -> None:
    """Byte 0 of the file is at the base address."""
    assert FORMATS["raw"].read(b"\x01\x02").image == Image.of(b"\x01\x02")
    assert FORMATS["raw"].read(b"\x01\x02", terms=Terms(base=0x8000)).image == Image.of(
        b"\x01\x02", 0x8000
    )


def test_declared_raw_is_taken_and_noted() -> None:
    """A chip may hold anything: declared raw, it is taken, and what it looks like is noted."""
    data = b":0400100011223344F2\n"
    dump = read_dump("dump.bin", data, format="raw")
    assert dump.image == Image.of(data)
    assert [finding.code for finding in dump.findings] == ["raw-looks-otherwise-accepted"]
    assert FORMATS["raw"].read(data, terms=Terms(frozenset({LOOKS_OTHERWISE}))) == dump


def test_writing_keeps_addresses() -> None:
    """A place in the file is the address less the base; gaps need a fill."""
    image = Image.from_blocks([Block(2, b"\x01"), Block(4, b"\x02")])
    assert raw.write(image, style=Style(fill=0xFF)) == b"\xff\xff\x01\xff\x02"
    assert raw.write(image, style=Style(fill=0, base=1)) == b"\x00\x01\x00\x02"
    assert raw.write(image.part(2, 3), style=Style(base=2)) == b"\x01"


WRONG_STYLES = {
    "gap without fill": (Style(base=2), "raw-gaps"),
    "start after the base without fill": (Style(), "raw-gaps"),
    "base above the image": (Style(base=3, fill=0), "dump-style"),
    "fill no byte": (Style(fill=256), "dump-style"),
    "header": (Style(fill=0, header=b"x"), "dump-style"),
    "record length": (Style(fill=0, record_length=16), "dump-style"),
}


@pytest.mark.parametrize("name", WRONG_STYLES)
def test_style_that_does_not_fit_is_refused(name: str) -> None:
    """No byte is made up, and no option is passed over."""
    style, code = WRONG_STYLES[name]
    image = Image.from_blocks([Block(2, b"\x01"), Block(4, b"\x02")])
    with pytest.raises(ParambakError) as caught:
        raw.write(image, style=style)
    assert caught.value.code == code


def test_first_absent_address_is_told() -> None:
    """The gap is pointed at, at the base or after the first block."""
    image = Image.from_blocks([Block(2, b"\x01"), Block(4, b"\x02")])
    for base, absent in ((0, 0), (2, 3)):
        with pytest.raises(ParambakError) as caught:
            raw.write(image, style=Style(base=base))
        assert (caught.value.code, caught.value.offset) == ("raw-gaps", absent)


def test_far_image_is_not_filled() -> None:
    """A file over the cap is never made of fill."""
    with pytest.raises(ParambakError) as caught:
        raw.write(Image.of(b"\x01", 1 << 31), style=Style(fill=0))
    assert caught.value.code == "dump-style"


def test_empty_image_is_not_written() -> None:
    """There is nothing to write."""
    with pytest.raises(ParambakError) as caught:
        raw.write(Image(()))
    assert caught.value.code == "dump-nothing-to-write"
