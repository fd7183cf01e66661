"""What converters write where addresses grow wider: about 64 KiB, 1 MiB, 16 MiB and 4 GiB.

Each file that a converter writes within the two formats is read, with the same bytes and
with nothing named; the few that are not are refused by a code that is stated here, and
`formats/` gives the reason.
"""

from __future__ import annotations

import random
import shutil
import subprocess
from io import BytesIO, StringIO
from itertools import product
from typing import TYPE_CHECKING

import bincopy
import hexrec
import intelhex
import pytest

from parambak.dumps.registry import read_dump
from parambak.errors import DumpRefused
from parambak.memory.image import Image

if TYPE_CHECKING:
    from pathlib import Path

SREC_CAT, OBJCOPY = shutil.which("srec_cat"), shutil.which("objcopy")
CONTENT = random.Random(64).randbytes(300)
BORDERS = {"64 KiB": 1 << 16, "1 MiB": 1 << 20, "16 MiB": 1 << 24, "4 GiB": 1 << 32}
BEFORE = (300, 299, 150, 17, 16, 1, 0, -7)
"""How far before a border the content begins: it ends there, crosses it, or is past it."""
HARMLESS = {
    *("base-changes", "end-address", "line-end", "mixed-widths", "no-header", "no-terminator"),
    *("past-64k", "past-width"),
}


def image_at(border: str, before: int) -> Image | None:
    """Return the content as an image, cut at 4 GiB; None if nothing is left of it."""
    start = BORDERS[border] - before
    content = CONTENT[: max(0, (1 << 32) - start)]
    return Image.of(content, start) if content else None


def outcome(name: str, data: bytes, image: Image) -> str | None:
    """Return the code of a refusal, None if the image is read with harmless notes alone."""
    try:
        dump = read_dump(name, data)
    except DumpRefused as error:
        return error.code
    assert dump.image == image
    assert {finding.code.partition("-")[2] for finding in dump.findings} <= HARMLESS
    return None


def written(path: Path, *command: object) -> bytes | None:
    """Return what a program writes to `path`, None if it reports that the range is too small."""
    done = subprocess.run([str(part) for part in command], check=False, capture_output=True)
    if done.returncode:
        assert b"available" in done.stderr, done.stderr
        return None
    return path.read_bytes()


LENGTHS = ("", "-obs=1", "-obs=16", "-obs=250", "-line-length=77")
ENDS = ("", "-execution-start-address=0x12", "-disable=exec-start-address", "-data-only",
        "-disable=data-count", "-disable=header")  # fmt: skip


def srec_cat_expected(kind: str, end: str, data: bytes) -> str | None:
    """Return the code by which an output of srec_cat is refused; None if it is read."""
    types = {line[:2] for line in data.splitlines()}
    if end == "-data-only":
        return "hex-no-end" if kind == "-intel" else "srec-no-end"
    if kind == "-intel":
        return None
    if end == "-disable=data-count":
        return "srec-no-end"
    if end.startswith("-execution") and b"S1" not in types:
        return "srec-odd-end"
    return None


@pytest.mark.skipif(SREC_CAT is None, reason="srec_cat is not installed")
@pytest.mark.parametrize("border", BORDERS)
@pytest.mark.parametrize("kind", ["-intel", "-motorola"])
def test_srec_cat_about_the_borders(kind: str, border: str, tmp_path: Path) -> None:
    """Its address widths, record lengths, headers and ends; what proves no end is refused.

    Data that the last record carries past its width are taken if nothing shows that the addresses
    end there, and refused if S9 shows it.
    """
    given, out = tmp_path / "given", tmp_path / ("a.hex" if kind == "-intel" else "a.srec")
    widths = ("", "-address-length=2", "-address-length=3", "-address-length=4")
    plans = [*product(widths, LENGTHS, ENDS[:1]), *product(widths[:1], LENGTHS[:4], ENDS[1:])]
    read = 0
    for before in BEFORE:
        image = image_at(border, before)
        if image is None:
            continue
        given.write_bytes(image.content)
        for width, length, end in plans:
            options = [each for each in (width, length, end) if each]
            source = (SREC_CAT, given, "-binary", "-offset", image.start)
            data = written(out, *source, "-output", out, kind, *options)
            if data is None:
                continue
            found = outcome(out.name, data, image)
            expected = srec_cat_expected(kind, end, data)
            past = kind == "-motorola" and end in (ENDS[1], ENDS[3], ENDS[4])
            assert found == expected or (past and found == "srec-width"), (before, options)
            read += found is None
    assert read > 50


@pytest.mark.skipif(OBJCOPY is None, reason="objcopy is not installed")
@pytest.mark.parametrize("border", BORDERS)
def test_objcopy_about_the_borders(border: str, tmp_path: Path) -> None:
    """Segments below 1 MiB, linear addresses above, both if the data cross it."""
    given, out = tmp_path / "given", tmp_path / "out"
    changes = ("", "--srec-forceS3", "--srec-len=1", "--srec-len=37", "--set-start=0x1234")
    for before, kind, change in product(BEFORE, ("ihex", "srec"), changes):
        image = image_at(border, before)
        if image is None:
            continue
        given.write_bytes(image.content)
        moved = f"--change-addresses={image.start}"
        options = [each for each in (moved, change) if each]
        data = written(out, OBJCOPY, "-I", "binary", "-O", kind, *options, given, out)
        assert data is not None
        name = "a.hex" if kind == "ihex" else "a.srec"
        assert outcome(name, data, image) is None, (before, kind, change)


@pytest.mark.parametrize("border", BORDERS)
def test_libraries_about_the_borders(border: str) -> None:
    """Record lengths, address widths, start addresses, line ends, headers and counts.

    bincopy writes type 02 records over a segment's end; those are refused as `hex-wrap`.
    """
    for before in BEFORE:
        image = image_at(border, before)
        if image is None:
            continue
        for length in (1, 16, 32, 250):
            _intelhex_writes(image, length)
            _bincopy_writes(image, length)
            _hexrec_writes(image, length)


def _intelhex_writes(image: Image, length: int) -> None:
    theirs = intelhex.IntelHex()
    theirs.puts(image.start, image.content)
    for start in (None, {"EIP": 0x1234}, {"CS": 1, "IP": 2}):
        theirs.start_addr = start
        for line_end in ("native", "CRLF"):
            out = StringIO()
            theirs.write_hex_file(out, eolstyle=line_end, byte_count=length)
            assert outcome("a.hex", out.getvalue().encode(), image) is None


def _bincopy_writes(image: Image, length: int) -> None:
    theirs = bincopy.BinFile()
    theirs.add_binary(image.content, image.start)
    for header, start in ((None, None), ("grebe", 0x1234)):
        if header:
            theirs.header = header
            theirs.execution_start_address = start
        for width in (16, 24, 32):
            top = {16: 1 << 16, 24: 1 << 24, 32: 1 << 32}[width]
            if image.end <= top:
                written = theirs.as_srec(length, width).encode()
                assert outcome("a.srec", written, image) is None
            if image.end <= (top if width != 24 else 1 << 20):
                written = theirs.as_ihex(length, width).encode()
                expected = {None, "hex-wrap"} if width == 24 else {None}
                assert outcome("a.hex", written, image) in expected


def _hexrec_writes(image: Image, length: int) -> None:
    blocks = [(image.start, image.content)]
    hexes = hexrec.IhexFile.from_blocks(blocks, maxdatalen=length)
    srecs = hexrec.SrecFile.from_blocks(blocks, maxdatalen=length)
    for name, theirs, options in (
        ("a.hex", hexes, {}),
        ("a.hex", hexes, {"align": True}),
        ("a.srec", srecs, {}),
        ("a.srec", srecs, {"align": True}),
        ("a.srec", srecs, {"header": False}),
        ("a.srec", srecs, {"count": False}),
    ):
        theirs.update_records(**options)
        out = BytesIO()
        theirs.serialize(out)
        assert outcome(name, out.getvalue(), image) is None, options
