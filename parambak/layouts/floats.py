"""Floating point, old and new, as exact fractions.

Every function takes the bytes most significant first, as the format's description
writes them; the caller turns them round. Sources: IEEE 754; Microsoft Binary Format and
IBM hexadecimal floating point as described in public; Motorola fast floating point as in
the Amiga ROM Kernel Reference Manual: Libraries. formats/field-layout.md has the pictures.
"""

from __future__ import annotations

import struct
from fractions import Fraction
from math import isinf, isnan
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

# The struct letter of each IEEE 754 format by its length in bytes.
IEEE: Mapping[int, str] = MappingProxyType({2: "e", 4: "f", 8: "d"})


def power(base: int, exponent: int) -> Fraction:
    """Return `base` to the power of `exponent`, exactly, for a negative exponent too."""
    return Fraction(base**exponent) if exponent >= 0 else Fraction(1, base**-exponent)


def read_ieee(raw: bytes) -> Fraction | str:
    """Return the value of a binary16, 32 or 64, or the word for what is no number."""
    value: float = struct.unpack(f">{IEEE[len(raw)]}", raw)[0]
    if isnan(value):
        return "not a number"
    return "infinite" if isinf(value) else Fraction(value)


def write_ieee(value: Fraction, length: int) -> bytes | None:
    """Return the nearest binary of `length` bytes; None if it is out of range."""
    try:
        return struct.pack(f">{IEEE[length]}", float(value))
    except OverflowError:
        return None


def read_mbf(raw: bytes) -> Fraction:
    """Return a Microsoft Binary Format value: exponent (offset 128), sign, mantissa 0.1m."""
    exponent, bits = raw[0], 8 * (len(raw) - 1)
    if exponent == 0:
        return Fraction(0)
    rest = int.from_bytes(raw[1:], "big")
    mantissa = rest | 1 << (bits - 1)
    value = Fraction(mantissa, 1 << bits) * power(2, exponent - 128)
    return -value if rest >> (bits - 1) else value


def _binary(value: Fraction, bits: int) -> tuple[int, int]:
    """Return mantissa and exponent: 0.1m times 2**exponent, the mantissa of `bits` bits."""
    exponent = value.numerator.bit_length() - value.denominator.bit_length()
    mantissa = round(value * power(2, bits - exponent))
    while mantissa >> bits:  # the estimate is one too low, or it rounds up to the next power
        exponent += 1
        mantissa = round(value * power(2, bits - exponent))
    return mantissa, exponent


def write_mbf(value: Fraction, length: int) -> bytes | None:
    """Return the nearest Microsoft Binary Format of `length` bytes; None out of range."""
    if value == 0:
        return bytes(length)
    bits = 8 * (length - 1)
    mantissa, exponent = _binary(abs(value), bits)
    if not 1 <= exponent + 128 <= 255:
        return None
    mantissa &= (1 << (bits - 1)) - 1
    mantissa |= int(value < 0) << (bits - 1)
    return bytes([exponent + 128]) + mantissa.to_bytes(length - 1, "big")


def read_ibm(raw: bytes) -> Fraction:
    """Return an IBM hexadecimal value: sign, exponent of 16 (excess 64), fraction."""
    bits = 8 * (len(raw) - 1)
    value = Fraction(int.from_bytes(raw[1:], "big"), 1 << bits) * power(16, (raw[0] & 0x7F) - 64)
    return -value if raw[0] & 0x80 else value


def write_ibm(value: Fraction, length: int) -> bytes | None:
    """Return the nearest normalised IBM hexadecimal of `length` bytes; None out of range."""
    if value == 0:
        return bytes(length)
    bits = 8 * (length - 1)
    size = abs(value)
    exponent = -(-(size.numerator.bit_length() - size.denominator.bit_length()) // 4)
    while size >= power(16, exponent):
        exponent += 1
    while size < power(16, exponent - 1):
        exponent -= 1
    mantissa = round(size / power(16, exponent) * (1 << bits))
    if mantissa >> bits:
        mantissa, exponent = mantissa >> 4, exponent + 1
    if not 0 <= exponent + 64 <= 127:
        return None
    return bytes([int(value < 0) << 7 | exponent + 64]) + mantissa.to_bytes(length - 1, "big")


def read_ffp(raw: bytes) -> Fraction:
    """Return a Motorola fast floating point value: mantissa of 24 bits, sign, excess 64."""
    mantissa = int.from_bytes(raw[:3], "big")
    value = Fraction(mantissa, 1 << 24) * power(2, (raw[3] & 0x7F) - 64)
    return -value if raw[3] & 0x80 else value


def write_ffp(value: Fraction, length: int) -> bytes | None:
    """Return the nearest Motorola fast floating point (`length` is 4); None out of range."""
    if value == 0:
        return bytes(length)
    mantissa, exponent = _binary(abs(value), 24)
    if not 0 <= exponent + 64 <= 127:
        return None
    return mantissa.to_bytes(3, "big") + bytes([int(value < 0) << 7 | exponent + 64])
