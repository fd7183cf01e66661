"""Check values that unrelated programs stored in files of their own, through a layout.

The bytes of bzip2, xz, gzip and zip files and the answer of `cksum` come from the programs'
own code, by their own specifications: no table of this project is in between.
"""

from __future__ import annotations

import binascii
import bz2
import gzip
import lzma
import random
import shutil
import subprocess
import zlib
from typing import TYPE_CHECKING

import pytest

from parambak.layouts.decode import decode
from parambak.layouts.load import load
from parambak.memory.image import Image

if TYPE_CHECKING:
    from collections.abc import Callable

MESSAGES = 60


def xz_crc64(data: bytes) -> bytes:
    """Return the check of an xz file's one block: in front of its index and footer."""
    file = lzma.compress(data, format=lzma.FORMAT_XZ, check=lzma.CHECK_CRC64)
    index = (int.from_bytes(file[-8:-4], "little") + 1) * 4  # the .xz format, Backward Size
    return file[-12 - index - 8 : -12 - index]


STORED: dict[str, tuple[str, Callable[[bytes], bytes]]] = {
    # bzip2: the block's check follows the magic of the stream and that of the block
    "crc-32/bzip2": ("big", lambda data: bz2.compress(data)[10:14]),
    "crc-32/iso-hdlc": ("little", lambda data: gzip.compress(data)[-8:-4]),  # RFC 1952
    "crc-64/xz": ("little", xz_crc64),
    "adler-32": ("big", lambda data: zlib.compress(data)[-4:]),  # RFC 1950
    "crc-16/xmodem": ("big", lambda data: binascii.crc_hqx(data, 0).to_bytes(2, "big")),
}


def holds(method: str, order: str, data: bytes, stored: bytes) -> bool | None:
    """Return whether a layout finds that the check behind the data holds."""
    text = (
        f'[layout]\ntitle = "T"\nmemory = {len(data + stored)}\nbyte-order = "{order}"\n'
        f'[[check]]\nname = "c"\nmethod = "{method}"\nover = [[0, {len(data) - 1}]]\n'
        f"at = {len(data)}\n"
    )
    return decode(load(text.encode()), Image.of(data + stored)).checks[0].holds


@pytest.mark.parametrize("method", STORED)
def test_a_check_that_another_program_stored_holds(method: str) -> None:
    """Over random messages of any length; with one bit of the message wrong it does not."""
    order, store = STORED[method]
    maker = random.Random(method)
    for _ in range(MESSAGES):
        data = maker.randbytes(maker.randint(1, 300))
        stored = store(data)
        assert holds(method, order, data, stored) is True
        wrong = bytearray(data)
        wrong[maker.randrange(len(data))] ^= 1 << maker.randrange(8)
        assert holds(method, order, bytes(wrong), stored) is False


@pytest.mark.skipif(not shutil.which("cksum"), reason="cksum is the judge")
def test_the_check_of_cksum() -> None:
    """POSIX `cksum` appends the length, low byte first, to what it works over."""
    maker = random.Random(5)
    for length in (1, 9, 255, 256, 1000):
        data = maker.randbytes(length)
        done = subprocess.run(["cksum"], input=data, capture_output=True, check=True, timeout=60)
        value = int(done.stdout.split()[0])
        counted = data + length.to_bytes((length.bit_length() + 7) // 8, "little")
        assert holds("crc-32/cksum", "big", counted, value.to_bytes(4, "big")) is True
