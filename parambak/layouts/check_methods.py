"""The methods of stored checks, each in one record: its name, its width, and its value.

`METHODS` is the one list of them: what a layout may write, which keys go with a method, how
wide its value is, and what the search tries, are asked of the record. The CRC names and their
aliases are those of the catalogue of parametrised CRC algorithms (G. Cook, update of
11 December 2024, 113 algorithms), in lower case. Fletcher-16 is modulo 255 with the second sum
in the upper byte; Adler-32 is RFC 1950.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from operator import mul
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.layouts.field_types import ByteOrder
    from parambak.layouts.model import Check

PROMISES = frozenset({"mirror-at", "mirrored", "must-be-blank"})
"""The methods of results that store no value: what the layout promises of copies and areas."""
_CATALOGUE = """
crc-3/gsm crc-3/rohc crc-4/g-704 crc-4/interlaken crc-5/epc-c1g2 crc-5/g-704 crc-5/usb
crc-6/cdma2000-a crc-6/cdma2000-b crc-6/darc crc-6/g-704 crc-6/gsm crc-7/mmc crc-7/rohc
crc-7/umts crc-8/autosar crc-8/bluetooth crc-8/cdma2000 crc-8/darc crc-8/dvb-s2 crc-8/gsm-a
crc-8/gsm-b crc-8/hitag crc-8/i-432-1 crc-8/i-code crc-8/lte crc-8/maxim-dow crc-8/mifare-mad
crc-8/nrsc-5 crc-8/opensafety crc-8/rohc crc-8/sae-j1850 crc-8/smbus crc-8/tech-3250 crc-8/wcdma
crc-10/atm crc-10/cdma2000 crc-10/gsm crc-11/flexray crc-11/umts crc-12/cdma2000 crc-12/dect
crc-12/gsm crc-12/umts crc-13/bbc crc-14/darc crc-14/gsm crc-15/can crc-15/mpt1327 crc-16/arc
crc-16/cdma2000 crc-16/cms crc-16/dds-110 crc-16/dect-r crc-16/dect-x crc-16/dnp crc-16/en-13757
crc-16/genibus crc-16/gsm crc-16/ibm-3740 crc-16/ibm-sdlc crc-16/iso-iec-14443-3-a crc-16/kermit
crc-16/lj1200 crc-16/m17 crc-16/maxim-dow crc-16/mcrf4xx crc-16/modbus crc-16/nrsc-5
crc-16/opensafety-a crc-16/opensafety-b crc-16/profibus crc-16/riello crc-16/spi-fujitsu
crc-16/t10-dif crc-16/teledisk crc-16/tms37157 crc-16/umts crc-16/usb crc-16/xmodem
crc-17/can-fd crc-21/can-fd crc-24/ble crc-24/flexray-a crc-24/flexray-b crc-24/interlaken
crc-24/lte-a crc-24/lte-b crc-24/openpgp crc-24/os-9 crc-30/cdma crc-31/philips crc-32/aixm
crc-32/autosar crc-32/base91-d crc-32/bzip2 crc-32/cd-rom-edc crc-32/cksum crc-32/iscsi
crc-32/iso-hdlc crc-32/jamcrc crc-32/mef crc-32/mpeg-2 crc-32/xfer crc-40/gsm crc-64/ecma-182
crc-64/go-iso crc-64/ms crc-64/nvme crc-64/redis crc-64/we crc-64/xz crc-82/darc
"""
CRC_NAMES = tuple(_CATALOGUE.split())

# A name of the catalogue in each line, and its other names.
_ALIASES = """
crc-4/g-704: crc-4/itu
crc-5/epc-c1g2: crc-5/epc
crc-5/g-704: crc-5/itu
crc-6/g-704: crc-6/itu
crc-7/mmc: crc-7
crc-8/i-432-1: crc-8/itu
crc-8/maxim-dow: crc-8/maxim dow-crc
crc-8/smbus: crc-8
crc-8/tech-3250: crc-8/aes crc-8/ebu
crc-10/atm: crc-10 crc-10/i-610
crc-11/flexray: crc-11
crc-12/dect: crc-12-x
crc-12/umts: crc-12/3gpp
crc-15/can: crc-15
crc-16/arc: arc crc-16/lha crc-ibm
crc-16/dect-r: r-crc-16
crc-16/dect-x: x-crc-16
crc-16/genibus: crc-16/darc crc-16/epc crc-16/epc-c1g2 crc-16/i-code
crc-16/ibm-3740: crc-16/autosar crc-16/ccitt-false
crc-16/ibm-sdlc: crc-16/iso-hdlc crc-16/iso-iec-14443-3-b crc-16/x-25 crc-b x-25
crc-16/iso-iec-14443-3-a: crc-a
crc-16/kermit: crc-16/ccitt crc-16/ccitt-true crc-16/v-41-lsb crc-ccitt kermit
crc-16/maxim-dow: crc-16/maxim
crc-16/modbus: modbus
crc-16/profibus: crc-16/iec-61158-2
crc-16/spi-fujitsu: crc-16/aug-ccitt
crc-16/umts: crc-16/buypass crc-16/verifone
crc-16/xmodem: crc-16/acorn crc-16/lte crc-16/v-41-msb xmodem zmodem
crc-24/openpgp: crc-24
crc-32/aixm: crc-32q
crc-32/base91-d: crc-32d
crc-32/bzip2: crc-32/aal5 crc-32/dect-b b-crc-32
crc-32/cksum: cksum crc-32/posix
crc-32/iscsi: crc-32/base91-c crc-32/castagnoli crc-32/interlaken crc-32c
crc-32/iso-hdlc: crc-32 crc-32/adccp crc-32/v-42 crc-32/xz pkzip
crc-32/jamcrc: jamcrc
crc-32/xfer: xfer
crc-64/ecma-182: crc-64
crc-64/xz: crc-64/go-ecma
"""
ALIASES: Mapping[str, str] = MappingProxyType(
    {
        alias: name
        for name, _, aliases in (line.partition(": ") for line in _ALIASES.strip().split("\n"))
        for alias in aliases.split()
    }
)


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


Worker = Callable[["Check", bytes, "ByteOrder"], int]


class CheckMethod(NamedTuple):
    """One method: a row of `METHODS`.

    `bits` is the width of its value, None if the check states it; `value` works it out, and
    what is above the width is cut off. `takes_init` shows whether it uses a start value.
    """

    name: str
    bits: int | None
    value: Worker
    takes_init: bool = False


def _start(check: Check) -> int:
    return check.init or 0


def _complemented(method: CheckMethod) -> tuple[CheckMethod, CheckMethod, CheckMethod]:
    """Return a method of sums, and the two whose value is its complement."""
    return (
        method,
        method._replace(
            name=f"{method.name}-ones-complement",
            value=lambda check, data, order: ~method.value(check, data, order),
        ),
        method._replace(
            name=f"{method.name}-twos-complement",
            value=lambda check, data, order: -method.value(check, data, order),
        ),
    )


def _sum(check: Check, data: bytes, order: ByteOrder) -> int:
    del order
    return _start(check) + sum(data)


def _sum_of_words(length: int) -> Worker:
    return lambda check, data, order: _start(check) + _words(data, length, order)


_SUMS = (
    CheckMethod("sum-8", 8, _sum, takes_init=True),
    CheckMethod("sum-16", 16, _sum, takes_init=True),
    CheckMethod("sum-24", 24, _sum, takes_init=True),
    CheckMethod("sum-32", 32, _sum, takes_init=True),
    CheckMethod("word-sum-16", 16, _sum_of_words(2), takes_init=True),
    CheckMethod("word-sum-32", 32, _sum_of_words(4), takes_init=True),
    CheckMethod("xor-8", 8, lambda c, d, _: _start(c) ^ _exclusive_or(d), takes_init=True),
    CheckMethod("xor-16", 16, lambda c, d, o: _start(c) ^ _xor_words(d, o), takes_init=True),
)
_OTHERS = (
    CheckMethod("fletcher-16", 16, lambda _c, data, _o: fletcher_16(data)),
    CheckMethod("adler-32", 32, lambda _c, data, _o: zlib.adler32(data)),
)
_BY_PARAMETERS = CheckMethod("crc", None, lambda c, d, _: _crc_by_parameters(c, d), takes_init=True)


def _of_catalogue(name: str) -> CheckMethod:
    bits = int(name.removeprefix("crc-").split("/")[0])
    return CheckMethod(name, bits, lambda _c, data, _o: _catalogue_crc(name, data))


def _methods() -> dict[str, CheckMethod]:
    plain, *complements = zip(*map(_complemented, _SUMS), strict=True)
    rows = [*plain, *_OTHERS]
    rows += [row for pair in zip(*complements, strict=True) for row in pair]
    rows += [_BY_PARAMETERS, *map(_of_catalogue, CRC_NAMES)]
    by_name = {row.name: row for row in rows}
    return by_name | {alias: by_name[name] for alias, name in ALIASES.items()}


METHODS: Mapping[str, CheckMethod] = MappingProxyType(_methods())
"""Every method by each of its names, in lower case."""


def method_named(name: str) -> CheckMethod | None:
    """Return the method of that name, in upper or lower case; None if there is none."""
    return METHODS.get(name.lower())


def width(check: Check) -> int:
    """Return how many bits the check's value has; 8 if its method is not recognised."""
    method = method_named(check.method)
    if method is None:
        return 8
    if method.bits is not None:
        return method.bits
    return check.width if check.width is not None and 3 <= check.width <= 128 else 8


def stored_length(check: Check) -> int:
    """Return how many bytes the check's stored value takes."""
    return (width(check) + 7) // 8


def compute(check: Check, data: bytes, order: ByteOrder) -> int:
    """Return the value that `check`, of a valid method, should hold over `data`.

    `order` is the byte order of the check, which word sums also read by.
    """
    method = METHODS[check.method.lower()]
    return method.value(check, data, order) & ((1 << width(check)) - 1)
