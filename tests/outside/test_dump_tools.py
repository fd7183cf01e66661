"""Reading and writing against other programs: what they write we read, and the reverse.

Libraries: intelhex, bincopy, hexrec. Programs: srec_cat (package srecord) and objcopy
(package binutils); a machine without them skips with a word.
"""

from __future__ import annotations

import random
import shutil
import subprocess
from io import BytesIO, StringIO
from typing import TYPE_CHECKING

import bincopy
import hexrec
import intelhex
import pytest

from parambak.dumps.dump import ODD_END, Style, Terms
from parambak.dumps.registry import read_dump, write_dump
from parambak.errors import DumpRefused
from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    from pathlib import Path

SREC_CAT, OBJCOPY = shutil.which("srec_cat"), shutil.which("objcopy")
needs_srec_cat = pytest.mark.skipif(SREC_CAT is None, reason="srec_cat is not installed")
needs_objcopy = pytest.mark.skipif(OBJCOPY is None, reason="objcopy is not installed")
CONTENT = random.Random(20).randbytes(3000)
STARTS = (0, 0xFD00, 0x1_2345)
SPARSE = Image.from_blocks(
    [Block(3, CONTENT[:70]), Block(0xFFF0, CONTENT[100:400]), Block(0x2_0001, CONTENT[:1])]
)


def run(*command: object) -> None:
    """Run a program; its failure is the test's."""
    subprocess.run([str(part) for part in command], check=True, capture_output=True)


def same(path: Path, image: Image) -> None:
    """Assert that a file holds the image by our reader, without anything to forgive."""
    assert read_dump(path.name, path.read_bytes()).image == image


SREC_CAT_WRITES = {
    "hex": ("a.hex", "-intel"),
    "hex, 16-bit addresses": ("a.hex", "-intel", "-address-length=2"),
    "hex, segments": ("a.hex", "-intel", "-address-length=3"),
    "hex, linear": ("a.hex", "-intel", "-address-length=4"),
    "hex, records of 16": ("a.hex", "-intel", "-obs=16"),
    "hex, records of 255": ("a.hex", "-intel", "-obs=255"),
    "hex, long lines": ("a.hex", "-intel", "-line-length=120"),
    "hex, start address": ("a.hex", "-intel", "-execution-start-address=0x1234"),
    "hex, CR LF": ("a.hex", "-intel", "-line-termination=crlf"),
    "hex, CR": ("a.hex", "-intel", "-line-termination=cr"),
    "srec": ("a.srec", "-motorola"),
    "srec, S2": ("a.srec", "-motorola", "-address-length=3"),
    "srec, S3": ("a.srec", "-motorola", "-address-length=4"),
    "srec, records of 1": ("a.srec", "-motorola", "-obs=1"),
    "srec, records of 32": ("a.srec", "-motorola", "-obs=32"),
    "srec, records of 250": ("a.srec", "-motorola", "-obs=250"),
    "srec, long lines": ("a.srec", "-motorola", "-line-length=200"),
    "srec, header": ("a.srec", "-motorola", "-header=grebe"),
    "srec, no header": ("a.srec", "-motorola", "-disable=header"),
    "srec, no terminator": ("a.srec", "-motorola", "-disable=exec-start-address"),
    "srec, CR LF": ("a.srec", "-motorola", "-line-termination=crlf"),
}


@needs_srec_cat
@pytest.mark.parametrize("start", STARTS)
@pytest.mark.parametrize("name", SREC_CAT_WRITES)
def test_we_read_what_srec_cat_writes(name: str, start: int, tmp_path: Path) -> None:
    """Every output option within the two formats, none of it needing an allowance."""
    file, *options = SREC_CAT_WRITES[name]
    if "-address-length=2" in options and start > 0xFFFF - len(CONTENT):
        pytest.skip("does not fit 16 bits")
    (tmp_path / "a.bin").write_bytes(CONTENT)
    out = tmp_path / file
    run(SREC_CAT, tmp_path / "a.bin", "-binary", "-offset", start, "-output", out, *options)
    same(out, Image.of(CONTENT, start))


@needs_srec_cat
@pytest.mark.parametrize("counted", [True, False])
def test_srec_cat_start_address(counted: bool, tmp_path: Path) -> None:
    """Its terminator depends on the start address: S9 pairs with S1, and not with S2 alone."""
    (tmp_path / "a.bin").write_bytes(CONTENT)
    out = tmp_path / "a.srec"
    options = ["-motorola", "-execution-start-address=0x1234"]
    options += [] if counted else ["-disable=data-count"]
    run(SREC_CAT, tmp_path / "a.bin", "-binary", "-output", out, *options)
    dump = read_dump(out.name, out.read_bytes())
    assert (dump.image, dump.start_address) == (Image.of(CONTENT), 0x1234)
    run(SREC_CAT, tmp_path / "a.bin", "-binary", "-offset=0x20000", "-output", out, *options)
    with pytest.raises(DumpRefused) as caught:
        read_dump(out.name, out.read_bytes())
    assert caught.value.code == "srec-odd-end"
    named = read_dump(out.name, out.read_bytes(), terms=Terms(frozenset({ODD_END})))
    assert named.image == Image.of(CONTENT, 0x20000)


@needs_srec_cat
@pytest.mark.parametrize("name", ["intel", "motorola"])
def test_we_read_sparse_files_of_srec_cat(name: str, tmp_path: Path) -> None:
    """Gaps stay gaps; the widths that srec_cat mixes by default are noted only."""
    parts: list[object] = []
    for index, block in enumerate(SPARSE.blocks):
        (tmp_path / f"{index}.bin").write_bytes(block.data)
        parts += [tmp_path / f"{index}.bin", "-binary", "-offset", block.start]
    out = tmp_path / "out"
    run(SREC_CAT, *parts, "-output", out, f"-{name}")
    same(out, SPARSE)


OBJCOPY_WRITES = {
    "hex": ("a.hex", "ihex"),
    "srec": ("a.srec", "srec"),
    "srec, S3": ("a.srec", "srec", "--srec-forceS3"),
    "srec, records of 1": ("a.srec", "srec", "--srec-len=1"),
    "srec, records of 64": ("a.srec", "srec", "--srec-len=64"),
    "srec, start address": ("a.srec", "srec", "--set-start=0x1234"),
    "hex, start address": ("a.hex", "ihex", "--set-start=0x1234"),
}


@needs_objcopy
@pytest.mark.parametrize("start", [*STARTS, 0x12_3456, 0x8000_0000])
@pytest.mark.parametrize("name", OBJCOPY_WRITES)
def test_we_read_what_objcopy_writes(name: str, start: int, tmp_path: Path) -> None:
    """Every output option within the two formats: segments below 1 MiB, linear above."""
    file, kind, *options = OBJCOPY_WRITES[name]
    (tmp_path / "a.bin").write_bytes(CONTENT)
    out = tmp_path / file
    run(
        OBJCOPY, "-I", "binary", "-O", kind, *options,
        f"--change-addresses={start}", tmp_path / "a.bin", out,
    )  # fmt: skip
    same(out, Image.of(CONTENT, start))


STYLES = {
    "hex": ("intel-hex", Style()),
    "hex, segments": ("intel-hex", Style(address_width=20)),
    "hex, linear": ("intel-hex", Style(address_width=32)),
    "hex, records of 255": ("intel-hex", Style(record_length=255)),
    "hex, CR LF": ("intel-hex", Style(line_end=b"\r\n")),
    "srec": ("s-record", Style()),
    "srec, S3": ("s-record", Style(address_width=32)),
    "srec, records of 250": ("s-record", Style(address_width=32, record_length=250)),
    "srec, header": ("s-record", Style(header=b"grebe")),
}


@needs_srec_cat
@pytest.mark.parametrize("name", STYLES)
def test_srec_cat_reads_what_we_write(name: str, tmp_path: Path) -> None:
    """Without a warning, and with the same bytes at the same addresses."""
    kind, style = STYLES[name]
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    ours.write_bytes(write_dump(SPARSE, kind, style))
    source = "-intel" if kind == "intel-hex" else "-motorola"
    done = subprocess.run(
        [str(SREC_CAT), str(ours), source, "-output", str(theirs), "-motorola"],
        check=True,
        capture_output=True,
    )
    assert done.stderr == b""
    same(theirs, SPARSE)


@needs_objcopy
@pytest.mark.parametrize("name", STYLES)
def test_objcopy_reads_what_we_write(name: str, tmp_path: Path) -> None:
    """The same bytes, gaps filled as we fill them."""
    kind, style = STYLES[name]
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    ours.write_bytes(write_dump(SPARSE, kind, style))
    source = "ihex" if kind == "intel-hex" else "srec"
    run(OBJCOPY, "-I", source, "-O", "binary", "--gap-fill=0xA5", ours, theirs)
    expected = write_dump(SPARSE, "raw", Style(base=SPARSE.start, fill=0xA5))
    assert theirs.read_bytes() == expected


@pytest.mark.parametrize("name", STYLES)
def test_libraries_read_what_we_write(name: str) -> None:
    """intelhex, bincopy and hexrec each give the same bytes at the same addresses."""
    kind, style = STYLES[name]
    data = write_dump(SPARSE, kind, style)
    text = data.decode()
    copied = bincopy.BinFile()
    records = hexrec.IhexFile if kind == "intel-hex" else hexrec.SrecFile
    if kind == "intel-hex":
        copied.add_ihex(text)
        theirs = intelhex.IntelHex(StringIO(text.replace("\r", "")))
        assert [
            (start, theirs.tobinstr(start=start, size=end - start))
            for start, end in theirs.segments()
        ] == list(SPARSE.blocks)
    else:
        copied.add_srec(text)
    assert [(each.address, bytes(each.data)) for each in copied.segments] == list(SPARSE.blocks)
    blocks = records.parse(data.replace(b"\r", b"")).memory.to_blocks()
    assert [(start, bytes(each)) for start, each in blocks] == list(SPARSE.blocks)


@pytest.mark.parametrize("length", [1, 8, 16, 32, 255])
@pytest.mark.parametrize("width", [16, 24, 32])
def test_we_read_what_bincopy_writes(length: int, width: int) -> None:
    """Its Intel HEX and S-records in every width that holds the image."""
    copied = bincopy.BinFile()
    image = SPARSE if width > 16 else SPARSE.part(0, 0x1_0000)
    for start, data in image.blocks:
        copied.add_binary(data, start)
    if length <= 250:
        written = copied.as_srec(length, width).encode()
        assert read_dump("a.srec", written).image == image
    if width != 24 or length <= 16:
        written = copied.as_ihex(length, width).encode()
        assert read_dump("a.hex", written).image == image


def test_bincopy_past_a_segment_is_refused_by_name() -> None:
    """With type 02 it writes records over a segment's end, which the standard wraps."""
    copied = bincopy.BinFile()
    copied.add_binary(CONTENT, 0xFFF0)
    with pytest.raises(DumpRefused) as caught:
        read_dump("a.hex", copied.as_ihex(32, 24).encode())
    assert (caught.value.code, caught.value.offset) == ("hex-wrap", 0xFFF0)


@pytest.mark.parametrize("length", [1, 16, 255])
def test_we_read_what_intelhex_writes(length: int) -> None:
    """With its start address records and its line ends."""
    theirs = intelhex.IntelHex()
    for start, data in SPARSE.blocks:
        theirs.puts(start, data)
    theirs.start_addr = {"EIP": 0x1234}
    for line_end in ("native", "CRLF"):
        out = StringIO()
        theirs.write_hex_file(out, eolstyle=line_end, byte_count=length)
        dump = read_dump("a.hex", out.getvalue().encode())
        assert (dump.image, dump.start_address) == (SPARSE, 0x1234)


@pytest.mark.parametrize("records", [hexrec.IhexFile, hexrec.SrecFile])
@pytest.mark.parametrize("length", [1, 16, 32, 250])
def test_we_read_what_hexrec_writes(records: type, length: int) -> None:
    """Its Intel HEX and S-records, as it writes them by default."""
    theirs = records.from_blocks(list(SPARSE.blocks), maxdatalen=length)  # type: ignore[attr-defined]
    out = BytesIO()
    theirs.serialize(out)
    name = "a.hex" if records is hexrec.IhexFile else "a.srec"
    assert read_dump(name, out.getvalue()).image == SPARSE
