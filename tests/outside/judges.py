"""Four unrelated programs under one face: what each makes of a file of records.

intelhex reads Intel HEX alone; bincopy, hexrec and srec_cat (package srecord) read both
formats. `srec_cat` is left out if it is not installed.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

import bincopy
import hexrec
import intelhex

from parambak.memory.image import Block, Image

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

SREC_CAT = shutil.which("srec_cat")


def _image(pieces: Iterable[tuple[int, bytes]]) -> Image:
    return Image.from_blocks(Block(start, bytes(data)) for start, data in pieces)


def _intelhex(_format: str, data: bytes) -> Image:
    read = intelhex.IntelHex(StringIO(data.decode("ascii")))
    return _image(
        (start, read.tobinstr(start=start, size=end - start)) for start, end in read.segments()
    )


def _bincopy(format_name: str, data: bytes) -> Image:
    read = bincopy.BinFile()
    text = data.decode("ascii")
    if format_name == "intel-hex":
        read.add_ihex(text)
    else:
        read.add_srec(text)
    return _image((each.address, each.data) for each in read.segments)


def _hexrec(format_name: str, data: bytes) -> Image:
    kind = hexrec.IhexFile if format_name == "intel-hex" else hexrec.SrecFile
    return _image(kind.parse(data).memory.to_blocks())


def _srec_cat(format_name: str, data: bytes) -> Image:
    """Let it write S3 records, which are then taken apart here; a warning is no refusal."""
    with tempfile.TemporaryDirectory() as folder:
        given, written = Path(folder) / "given", Path(folder) / "written"
        given.write_bytes(data)
        kind = "-intel" if format_name == "intel-hex" else "-motorola"
        command = [str(SREC_CAT), str(given), kind, "-output", str(written), "-motorola"]
        command += ["-address-length=4", "-obs=250"]
        subprocess.run(command, check=True, capture_output=True, timeout=30)
        lines = written.read_text("ascii").splitlines()
    records = [bytes.fromhex(line[2:]) for line in lines if line.startswith("S3")]
    return _image((int.from_bytes(each[1:5], "big"), each[5:-1]) for each in records)


JUDGES: dict[str, Callable[[str, bytes], Image]] = {
    "intelhex": _intelhex,
    "bincopy": _bincopy,
    "hexrec": _hexrec,
    **({"srec_cat": _srec_cat} if SREC_CAT else {}),
}


def asked(format_name: str) -> list[str]:
    """Return the names of those that read the format."""
    return [name for name in JUDGES if format_name == "intel-hex" or name != "intelhex"]


def verdict(name: str, format_name: str, data: bytes) -> Image | None:
    """Return the image that one of them reads, None if it refuses the file."""
    try:
        return JUDGES[name](format_name, data)
    except Exception:  # noqa: BLE001 - any error of a program is its refusal
        return None
