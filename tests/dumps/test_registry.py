"""Which format a file is in: by its name, else by its first line."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest

from parambak.dumps.other_files import FIRST_BYTES
from parambak.dumps.registry import FORMATS, detect, read_dump, write_dump
from parambak.errors import ParambakError
from parambak.memory.image import Image

HEX = b":0400100011223344" + b"42\n:00000001FF\n"
LONG_SREC = b"S1130000285F245F2212226A000424290008237C2A\n"
SREC = b"S1070010112233443E\nS9030000FC\n"


@pytest.mark.parametrize("name", ["a.hex", "a.ihx", "a.ihex", "a.HEX", "dir.bin/a.Hex"])
def test_names_of_intel_hex(name: str) -> None:
    """The name shows it, in upper or lower case."""
    assert detect(name, b"whatever") == "intel-hex"


@pytest.mark.parametrize("name", ["a.s19", "a.s28", "a.s37", "a.srec", "a.mot", "a.S19"])
def test_names_of_s_records(name: str) -> None:
    """The name shows it, in upper or lower case."""
    assert detect(name, b"whatever") == "s-record"


@pytest.mark.parametrize("name", ["a", "a.bin", "hex", "a.txt", "a.hex.bak", ""])
def test_other_names_leave_it_to_the_content(name: str) -> None:
    """The first line that is not blank has a record's whole shape, else the file is raw."""
    assert detect(name, HEX) == "intel-hex"
    assert detect(name, b"\r\n \r\n" + HEX.replace(b"\n", b"\r\n")) == "intel-hex"
    assert detect(name, SREC) == "s-record"
    assert detect(name, LONG_SREC) == "s-record"
    assert detect(name, b"\x0b" + HEX) == "raw"
    assert detect(name, HEX[1:]) == "raw"
    assert detect(name, HEX[:12]) == "raw"
    assert detect(name, b"") == "raw"


@pytest.mark.parametrize(
    ("name", "data", "found"),
    [
        ("a.hex", SREC, "s-record"),
        ("a.s19", HEX, "intel-hex"),
    ],
)
def test_content_of_another_kind_is_refused(name: str, data: bytes, found: str) -> None:
    """A name of one format with content of another is refused."""
    with pytest.raises(ParambakError) as caught:
        read_dump(name, data)
    assert (caught.value.code, caught.value.found) == ("dump-name-differs", found)


@pytest.mark.parametrize("name", ["a.hex", "a.mot", "a.bin", "a"])
@pytest.mark.parametrize(("kind", "first"), FIRST_BYTES)
def test_a_file_of_another_kind_is_refused(name: str, kind: str, first: str) -> None:
    """A document, a photo or an archive is no dump under any name, unless it is declared raw."""
    data = bytes.fromhex(first.replace("..", "20")) + bytes(range(64))
    for declared in (None, *FORMATS):
        if declared == "raw":
            codes = [f.code for f in read_dump(name, data, format="raw").findings]
            assert codes == ["raw-looks-otherwise-accepted"]
            continue
        for usual in FORMATS:
            with pytest.raises(ParambakError) as caught:
                read_dump(name, data, format=declared, usual=usual)
            assert (caught.value.code, caught.value.found) == ("dump-other-file", kind)
            assert "--format raw" in (caught.value.next or "")


def test_the_first_bytes_are_on_the_page_of_raw() -> None:
    """Each kind with its bytes, in the order of the page."""
    page = (Path(__file__).parents[2] / "formats" / "raw.md").read_text("utf-8")
    rows = re.findall(r"^\| ([^|`]+) \| `([0-9A-F. ]+)` \|$", page, re.MULTILINE)
    assert tuple(rows) == FIRST_BYTES


@pytest.mark.parametrize("first", ["FF FF FF FF", "00 00 00 00", "42 4D", "4D 5A", "25 50 44 46"])
def test_the_bytes_of_a_chip_are_not_taken_for_a_file(first: str) -> None:
    """A blank chip, and what is the beginning of a kind alone."""
    data = bytes.fromhex(first) + random.Random(3).randbytes(60)
    assert read_dump("a.bin", data).image.content == data


def test_a_format_that_a_reader_usually_writes_declares_nothing() -> None:
    """Records under a profile for raw files are refused as where no profile is given."""
    for usual in ("raw", None):
        with pytest.raises(ParambakError) as caught:
            read_dump("a.bin", HEX.replace(b"33", b"34"), usual=usual)
        assert caught.value.code == ("raw-looks-otherwise" if usual else "hex-checksum")


def test_text_that_fails_to_parse_is_never_raw() -> None:
    """A text format with a mistake is an error, under any file name."""
    for name in ("a", "a.hex", "a.bin"):
        with pytest.raises(ParambakError) as caught:
            read_dump(name, HEX.replace(b"33", b"34"))
        assert caught.value.code == "hex-checksum"


def test_declared_format_goes_before_the_name() -> None:
    """What the caller declares is taken, against name and content."""
    assert read_dump("a.s19", HEX, format="intel-hex").format == "intel-hex"
    with pytest.raises(ParambakError) as caught:
        read_dump("a.s19", SREC, format="intel-hex")
    assert (caught.value.code, caught.value.next) == (
        "dump-format-differs",
        "Give --format s-record. If the reader's profile has the wrong format, correct it there.",
    )


def test_unknown_format_is_refused() -> None:
    """The formats are named in the answer."""
    for call in (
        lambda: read_dump("a", HEX, format="elf"),
        lambda: write_dump(Image.of(b"1"), "elf"),
    ):
        with pytest.raises(ParambakError) as caught:
            call()
        assert caught.value.code == "dump-no-such-format"
        assert (caught.value.expected, caught.value.found) == (", ".join(FORMATS), "elf")
