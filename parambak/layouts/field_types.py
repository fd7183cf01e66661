"""The types of the language, each in one record: its word, its bytes, and the keys that go with it.

`TYPES` is the one list of them. What a layout file may write, which keys go with a type, how
its bytes are read and written, what it can hold, and what the search tries: all of it is
asked of the record. `formats/field-layout.md` describes each for its users.
"""

from __future__ import annotations

from fractions import Fraction
from functools import partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, NamedTuple

from parambak.layouts import floats, texts

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

ByteOrder = Literal["big", "little"]
Kind = Literal["number", "text", "date-time", "bytes"]
Value = int | Fraction | str
Bounds = tuple[int, int]


class StoredValue(NamedTuple):
    """The content of a raw pattern before any scaling: number, text, or why there is none."""

    number: int | Fraction | None = None
    text: str | None = None
    mark: str | None = None


class Codec(NamedTuple):
    """How one field's bytes are read and written.

    `write` returns the bytes, the nearest for a float, or None if the type cannot hold
    the value. `integer` gives the number at once if every pattern is a whole number.
    """

    read: Callable[[bytes], StoredValue]
    write: Callable[[Value], bytes | None]
    integer: Callable[[bytes], int] | None = None


class Storage(NamedTuple):
    """How one field is stored: all on which its bytes depend, except its type.

    `length` is in bytes; `blank` is what a blank byte of the memory reads.
    """

    length: int
    order: ByteOrder = "big"
    blank: int = 0xFF
    bit: int = 0
    width: int = 1
    encoding: str = "ascii"
    padding: str = "any"
    parts: tuple[str, ...] = ()
    century: int = 0
    binary: bool = False


class FieldType:
    """One type of the language: a row of `TYPES`.

    `length` is in bytes, None if the field states it, then at most `longest`. `bounds` gives
    the lowest and highest stored number of so many bits; None for other types. A type that
    `takes_bits` may share its bytes, `width` of them if it is fixed; one that is not `ordered`
    reads the same in either byte order; of one with `limit_as_stored` a limit is rounded to what
    the type would store.

    For the search: `share` is how common the type is among numbers, before a look at the memory,
    `lengths` those tried, `filled` whether a small number has 00 or FF above it, and `sign_byte`
    which byte holds a float's sign (0 the most significant), None if a greater value is not a
    greater pattern.
    """

    def __init__(  # noqa: PLR0913 - the columns of a row, all by keyword
        self,
        name: str,
        codec: Callable[[Storage], Codec],
        *,
        kind: Kind = "number",
        length: int | None = None,
        longest: int = 0,
        bounds: Callable[[int], Bounds] | None = None,
        takes_bits: bool = False,
        width: int | None = None,
        ordered: bool = True,
        limit_as_stored: bool = False,
        share: float = 0.001,
        lengths: tuple[int, ...] = (1, 2, 4),
        filled: bool = False,
        sign_byte: int | None = None,
    ) -> None:
        self.name, self.codec, self.kind = name, codec, kind
        self.length, self.longest = length, longest if length is None else length
        self.bounds, self.takes_bits, self.width = bounds, takes_bits, width
        self.ordered, self.limit_as_stored = ordered, limit_as_stored
        self.share, self.filled, self.sign_byte = share, filled, sign_byte
        self.lengths = lengths if length is None else (length,)

    def __str__(self) -> str:
        """Return the word of the language."""
        return self.name

    __repr__ = __str__

    @property
    def is_number(self) -> bool:
        """Return whether it can be scaled and have limits."""
        return self.kind == "number"

    @property
    def is_whole(self) -> bool:
        """Return whether every value is a whole number, to which a name can be given."""
        return self.bounds is not None

    @property
    def is_float(self) -> bool:
        """Return whether it holds the nearest number that it can, not every one exactly."""
        return self.is_number and self.bounds is None

    @property
    def searched(self) -> bool:
        """Return whether a number may be searched in this type."""
        return self.is_number and not self.takes_bits


def _unsigned(bits: int) -> Bounds:
    return 0, (1 << bits) - 1


def _signed(bits: int) -> Bounds:
    return -(1 << (bits - 1)), (1 << (bits - 1)) - 1


def _of_magnitude(bits: int) -> Bounds:
    return 1 - (1 << (bits - 1)), (1 << (bits - 1)) - 1


def _of_digits(bits: int) -> Bounds:
    return 0, 100 ** (bits // 8) - 1


def _as_integer(value: Value) -> int | None:
    """Return `value` if it is a whole number."""
    if isinstance(value, str):
        return None
    return int(value) if value == int(value) else None


def _integer(stored: Storage, *, signed: bool) -> Codec:
    length, order = stored.length, stored.order

    def integer(raw: bytes) -> int:
        return int.from_bytes(raw, order, signed=signed)

    plainest = not signed and (order == "big" or length == 1)

    def read(raw: bytes) -> StoredValue:
        return StoredValue(integer(raw))

    def write(value: Value) -> bytes | None:
        number = _as_integer(value)
        try:
            return None if number is None else number.to_bytes(length, order, signed=signed)
        except OverflowError:
            return None

    # Python's own function if it does the same: a third of the time.
    return Codec(read, write, int.from_bytes if plainest else integer)


def _in_order(raw: bytes, order: ByteOrder) -> bytes:
    return raw if order == "big" else raw[::-1]


def _float(
    reader: Callable[[bytes], Fraction | str], writer: Callable[[Fraction, int], bytes | None]
) -> Callable[[Storage], Codec]:
    """Return the codec maker of a float whose functions take the most significant byte first."""

    def codec(stored: Storage) -> Codec:
        length, order = stored.length, stored.order

        def read(raw: bytes) -> StoredValue:
            value = reader(_in_order(raw, order))
            return StoredValue(mark=value) if isinstance(value, str) else StoredValue(value)

        def write(value: Value) -> bytes | None:
            if isinstance(value, str):
                return None
            raw = writer(Fraction(value), length)
            return None if raw is None else _in_order(raw, order)

        return Codec(read, write)

    return codec


def _bcd(stored: Storage) -> Codec:
    length, order = stored.length, stored.order

    def read(raw: bytes) -> StoredValue:
        digits = _in_order(raw, order).hex()
        return StoredValue(int(digits)) if digits.isdecimal() else StoredValue(mark="not BCD")

    def write(value: Value) -> bytes | None:
        number = _as_integer(value)
        if number is None or not 0 <= number < 100**length:
            return None
        return _in_order(bytes.fromhex(f"{number:0{2 * length}d}"), order)

    return Codec(read, write)


def _sign_magnitude(stored: Storage) -> Codec:
    length, order = stored.length, stored.order
    top = 1 << (8 * length - 1)

    def read(raw: bytes) -> StoredValue:
        pattern = int.from_bytes(raw, order)
        size = pattern & (top - 1)
        if pattern == top:
            return StoredValue(0, mark="minus zero")
        return StoredValue(-size if pattern & top else size)

    def write(value: Value) -> bytes | None:
        number = _as_integer(value)
        if number is None or abs(number) >= top:
            return None
        return (abs(number) | (top if number < 0 else 0)).to_bytes(length, order)

    return Codec(read, write)


def _gray(stored: Storage) -> Codec:
    length, order = stored.length, stored.order
    bits = 8 * length

    def read(raw: bytes) -> StoredValue:
        value = int.from_bytes(raw, order)
        shift = 1
        while shift < bits:  # each bit is the exclusive-or of all above it
            value ^= value >> shift
            shift *= 2
        return StoredValue(value)

    def write(value: Value) -> bytes | None:
        number = _as_integer(value)
        if number is None or not 0 <= number < 1 << bits:
            return None
        return (number ^ number >> 1).to_bytes(length, order)

    return Codec(read, write)


def _bits(stored: Storage) -> Codec:
    bit, length, order = stored.bit, stored.length, stored.order
    mask = (1 << stored.width) - 1

    def integer(raw: bytes) -> int:
        return int.from_bytes(raw, order) >> bit & mask

    def read(raw: bytes) -> StoredValue:
        return StoredValue(integer(raw))

    def write(value: Value) -> bytes | None:
        number = _as_integer(value)
        if number is None or not 0 <= number <= mask:
            return None
        return (number << bit).to_bytes(length, order)

    return Codec(read, write, integer)


def _text(stored: Storage) -> Codec:
    encoding, padding, blank = stored.encoding, stored.padding, stored.blank

    def read(raw: bytes) -> StoredValue:
        text, mark = texts.read_text(raw, encoding, padding, blank)
        return StoredValue(text=text, mark=mark)

    def write(value: Value) -> bytes | None:
        return texts.write_text(str(value), stored.length, encoding, padding, blank)

    return Codec(read, write)


def _date_time(stored: Storage) -> Codec:
    parts, century = stored.parts, stored.century

    def read(raw: bytes) -> StoredValue:
        text, mark = texts.read_moment(raw, parts, century, binary=stored.binary)
        return StoredValue(text=text, mark=mark)

    def write(value: Value) -> bytes | None:
        return texts.write_moment(str(value), parts, century, binary=stored.binary)

    return Codec(read, write)


def _bytes(stored: Storage) -> Codec:
    def read(raw: bytes) -> StoredValue:
        return StoredValue(text=raw.hex().upper())

    def write(value: Value) -> bytes | None:
        try:
            raw = bytes.fromhex(str(value))
        except ValueError:
            return None
        return raw if len(raw) == stored.length else None

    return Codec(read, write)


def _integers(letter: str, shares: tuple[float, ...]) -> tuple[FieldType, ...]:
    """Return the integers of 1, 2 … bytes, `shares` are how common each is."""
    codec, bounds = partial(_integer, signed=letter == "s"), _signed if letter == "s" else _unsigned
    return tuple(
        FieldType(
            f"{letter}{8 * length}", codec, length=length, bounds=bounds, share=share, filled=True
        )
        for length, share in enumerate(shares, 1)
    )


_IEEE = _float(floats.read_ieee, floats.write_ieee)
_MICROSOFT = _float(floats.read_mbf, floats.write_mbf)
_IBM = _float(floats.read_ibm, floats.write_ibm)
_MOTOROLA = _float(floats.read_ffp, floats.write_ffp)

# The shares are a rough order of magnitude (common practice, no source): what a memory at
# hand shows soon outweighs them.
_ROWS = (
    *_integers("u", (0.12, 0.26, 0.01, 0.08, 0.001, 0.001, 0.001, 0.003)),
    *_integers("s", (0.03, 0.16, 0.005, 0.04, 0.001, 0.001, 0.001, 0.001)),
    FieldType("f16", _IEEE, length=2, limit_as_stored=True, share=0.003, sign_byte=0),
    FieldType("f32", _IEEE, length=4, limit_as_stored=True, share=0.10, sign_byte=0),
    FieldType("f64", _IEEE, length=8, limit_as_stored=True, share=0.01, sign_byte=0),
    FieldType("mbf32", _MICROSOFT, length=4, share=0.01, sign_byte=1),
    FieldType("mbf40", _MICROSOFT, length=5, share=0.003, sign_byte=1),
    FieldType("mbf64", _MICROSOFT, length=8, share=0.003, sign_byte=1),
    FieldType("ibm32", _IBM, length=4, share=0.008, sign_byte=0),
    FieldType("ibm64", _IBM, length=8, share=0.002, sign_byte=0),
    FieldType("ffp32", _MOTOROLA, length=4, share=0.005, sign_byte=3),
    FieldType(
        "bcd", _bcd, longest=16, bounds=_of_digits,
        share=0.02, lengths=(1, 2, 3, 4, 5, 6, 8), filled=True,
    ),
    FieldType("sign-magnitude", _sign_magnitude, longest=8, bounds=_of_magnitude, share=0.005),
    FieldType("gray", _gray, longest=8, bounds=_unsigned, share=0.002),
    FieldType("flag", _bits, longest=8, bounds=_unsigned, takes_bits=True, width=1),
    FieldType("bits", _bits, longest=8, bounds=_unsigned, takes_bits=True),
    FieldType("text", _text, kind="text", longest=4096, ordered=False),
    FieldType("date-time", _date_time, kind="date-time", longest=16, ordered=False),
    FieldType("bytes", _bytes, kind="bytes", longest=16 * 1024 * 1024, ordered=False),
)  # fmt: skip
TYPES: Mapping[str, FieldType] = MappingProxyType({row.name: row for row in _ROWS})
