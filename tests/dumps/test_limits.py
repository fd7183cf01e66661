"""The caps that a text dump can pass only by being very large."""

from __future__ import annotations

import pytest

from parambak.dumps import intel_hex, s_record
from parambak.dumps.limits import MAX_IMAGE, MAX_RANGES
from parambak.errors import DumpRefused


def hex_record(kind: int, at: int, data: bytes) -> bytes:
    body = bytes([len(data), at >> 8, at & 0xFF, kind]) + data
    return b":" + (body + bytes([-sum(body) & 0xFF])).hex().upper().encode() + b"\n"


def s3_record(at: int, data: bytes) -> bytes:
    body = bytes([len(data) + 5]) + at.to_bytes(4, "big") + data
    return b"S3" + (body + bytes([~sum(body) & 0xFF])).hex().upper().encode() + b"\n"


def test_more_pieces_than_an_image_may_have() -> None:
    """Single bytes with a gap after each: refused at the cap, in both formats."""
    pieces = MAX_RANGES + 1
    banks = []
    for bank in range(pieces // 32768 + 1):
        banks.append(hex_record(4, 0, bank.to_bytes(2, "big")))
        count = min(32768, pieces - bank * 32768)
        banks += [hex_record(0, 2 * row, b"\x01") for row in range(count)]
    with pytest.raises(DumpRefused) as caught:
        intel_hex.read(b"".join(banks) + hex_record(1, 0, b""))
    assert caught.value.code == "hex-too-many-ranges"
    singles = [s3_record(2 * row, b"\x01") for row in range(pieces)]
    with pytest.raises(DumpRefused) as caught:
        s_record.read(b"".join(singles) + b"S70500000000FA\n")
    assert caught.value.code == "srec-too-many-ranges"


def test_more_bytes_than_an_image_may_hold() -> None:
    """S-records that carry more than 16 MiB are refused."""
    rows = [s3_record(at, bytes(128)) for at in range(0, MAX_IMAGE + 128, 128)]
    with pytest.raises(DumpRefused) as caught:
        s_record.read(b"".join(rows) + b"S70500000000FA\n")
    assert caught.value.code == "srec-too-many-bytes"
    assert caught.value.line == MAX_IMAGE // 128 + 1
