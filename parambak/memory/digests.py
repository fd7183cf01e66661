"""Digests and the plain sums that a reader's screen shows.

SHA-256 is FIPS 180-4; CRC-32 is CRC-32/ISO-HDLC of the catalogue of
parametrised CRC algorithms; the sums are plain additions of the bytes.
"""

from __future__ import annotations

import hashlib
import zlib


def sha256(data: bytes) -> str:
    """Return the SHA-256 of `data`, 64 lower-case hexadecimal digits (FIPS 180-4)."""
    return hashlib.sha256(data).hexdigest()


def crc32(data: bytes) -> str:
    """Return CRC-32/ISO-HDLC of `data`, 8 upper-case hexadecimal digits."""
    return f"{zlib.crc32(data):08X}"


def sum8(data: bytes) -> str:
    """Return the sum of the bytes modulo 256, 2 upper-case hexadecimal digits."""
    return f"{sum(data) & 0xFF:02X}"


def sum16(data: bytes) -> str:
    """Return the sum of the bytes modulo 65536, 4 upper-case hexadecimal digits."""
    return f"{sum(data) & 0xFFFF:04X}"
