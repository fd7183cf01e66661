"""Working out the check values that a layout declares.

CRC algorithms follow the catalogue of parametrised CRC algorithms; Fletcher-16 is
modulo 255 with the second sum in the upper byte; Adler-32 is RFC 1950.
"""

from __future__ import annotations

import zlib
from operator import mul
from typing import TYPE_CHECKING

from parambak.layouts.check_methods import BY_PARAMETERS, catalogue_name, split, width

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.layouts.model import ByteOrder, Check


def _reflected(value: int, bits: int) -> int:
    return int(format(value, f"0{bits}b")[::-1], 2)


def crc_by_table(  # noqa: PLR0913 - the six parameters of the catalogue
    data: bytes, *, bits: int, poly: int, init: int, reflect_in: bool, reflect_out: bool, out: int
) -> int:
    """Return a CRC of any width from 3 to 128 bits, by a table of 256 entries.

    Slower than the library used for widths up to 64, and written apart from it.
    """
    room = max(bits, 8)
    top, mask = 1 << (room - 1), (1 << room) - 1
    lifted = poly << (room - bits)
    table = []
    for value in range(256):
        register = value << (room - 8)
        for _ in range(8):
            register = ((register << 1) ^ (lifted if register & top else 0)) & mask
        table.append(register)
    turned = bytes(_reflected(value, 8) for value in range(256)) if reflect_in else None
    register = init << (room - bits)
    for value in data.translate(turned) if turned else data:
        register = (register << 8) & mask ^ table[register >> (room - 8) ^ value]
    register >>= room - bits
    return (_reflected(register, bits) if reflect_out else register) ^ out


def _catalogue_crc(name: str, data: bytes) -> int:
    if name == "crc-82/darc":  # wider than the library goes; parameters from the catalogue
        return crc_by_table(
            data,
            bits=82,
            poly=0x0308C0111011401440411,
            init=0,
            reflect_in=True,
            reflect_out=True,
            out=0,
        )
    import anycrc  # noqa: PLC0415 - slow to import, and few commands work out a check

    library_name = name.replace("crc-", "crc", 1).replace("/", "-").upper()
    return int(anycrc.Model(library_name).calc(data))


def _crc_by_parameters(check: Check, data: bytes) -> int:
    bits, poly = check.width or 8, check.poly or 0
    init, out = check.init or 0, check.xor_out or 0
    turn_in, turn_out = bool(check.reflect_in), bool(check.reflect_out)
    if bits > 64:
        return crc_by_table(
            data,
            bits=bits,
            poly=poly,
            init=init,
            reflect_in=turn_in,
            reflect_out=turn_out,
            out=out,
        )
    import anycrc  # noqa: PLC0415 - slow to import, and few commands work out a check

    return int(anycrc.CRC(bits, poly, init, turn_in, turn_out, out).calc(data))


def _words(data: bytes, length: int, order: ByteOrder) -> int:
    """Return the sum of the words of `length` bytes; a short last word is filled with 00."""
    data += bytes(-len(data) % length)
    planes = (data[index::length] for index in range(length))
    weights = range(length) if order == "little" else range(length - 1, -1, -1)
    return sum(sum(plane) << (8 * weight) for plane, weight in zip(planes, weights, strict=True))


def _exclusive_or(data: bytes) -> int:
    """Return the exclusive-or of the bytes, halving so that no byte is touched alone."""
    value, length = int.from_bytes(data, "big"), len(data)
    while length > 1:
        half = (length + 1) // 2
        value = (value >> (8 * half)) ^ (value & ((1 << (8 * half)) - 1))
        length = half
    return value


def _xor_words(data: bytes, order: ByteOrder) -> int:
    data += bytes(len(data) % 2)
    first, second = _exclusive_or(data[0::2]), _exclusive_or(data[1::2])
    return (first << 8 | second) if order == "big" else (second << 8 | first)


def fletcher_16(data: bytes) -> int:
    """Return Fletcher-16: two sums modulo 255, the second in the upper byte."""
    second: int = sum(map(mul, data, range(len(data), 0, -1)))
    return second % 255 << 8 | sum(data) % 255


def _plain(name: str, data: bytes, order: ByteOrder, init: int) -> int:
    methods: dict[str, Callable[[], int]] = {
        "word-sum-16": lambda: init + _words(data, 2, order),
        "word-sum-32": lambda: init + _words(data, 4, order),
        "xor-8": lambda: init ^ _exclusive_or(data),
        "xor-16": lambda: init ^ _xor_words(data, order),
        "fletcher-16": lambda: fletcher_16(data),
        "adler-32": lambda: zlib.adler32(data),
    }
    return methods.get(name, lambda: init + sum(data))()


def compute(check: Check, data: bytes, order: ByteOrder) -> int:
    """Return the value that `check` should hold over `data`, a number of its width.

    `order` is the byte order of the check, which word sums also read by.
    """
    bits = width(check)
    mask = (1 << bits) - 1
    if check.method.lower() == BY_PARAMETERS:
        return _crc_by_parameters(check, data) & mask
    name = catalogue_name(check.method)
    if name is not None:
        return _catalogue_crc(name, data)
    plain, complement = split(check.method)
    value = _plain(plain, data, order, check.init or 0) & mask
    if complement == "ones-complement":
        return value ^ mask
    if complement == "twos-complement":
        return -value & mask
    return value
