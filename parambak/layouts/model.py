"""The checked model of a layout: the tables and keys of the language, and what they become.

The tables of a file (`LayoutFile` and what is in it) are msgspec structs: their names,
types and descriptions are the one source of the checks, of the JSON Schema and of the
keys that a mistake may suggest. `Layout` is what `load` makes of a file and its includes.
"""

from decimal import Decimal
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from parambak.layouts import field_types
from parambak.layouts.field_types import ByteOrder, Codec, FieldType, Storage

MOST_MEMORY = 16 * 1024 * 1024
MOST_FIELDS = 200_000
MOST_DEPTH = 8


class Number(Decimal):
    """A number as the layout writes it, with or without a point; never a binary float."""


Address = Annotated[int, Meta(description="Address of the first byte, from 0.")]
Length = Annotated[int, Meta(description="How many bytes.")]
Name = Annotated[str, Meta(min_length=1, max_length=80)]
Text = Annotated[str, Meta(max_length=4000)]
Encoding = Literal[
    "ascii",
    "latin-1",
    "utf-8",
    "utf-16-be",
    "utf-16-le",
    "cp437",
    "cp850",
    "cp852",
    "cp866",
    "cp1250",
    "cp1251",
    "cp1252",
    "iso8859-2",
    "iso8859-5",
    "iso8859-7",
    "iso8859-15",
    "koi8-r",
    "shift-jis",
]
Padding = Literal["any", "space", "zero", "blank", "after-zero", "none"]
Part = Literal["year", "month", "day", "hour", "minute", "second", "weekday", "skip"]
Normal = Literal["mirrored", "seven-bit", "constant-line"]


class Field(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """One value in the memory: its address, how it is written, what it means."""

    name: Annotated[Name, Meta(description="Name, unique at its level.")]
    at: Annotated[Address, Meta(description="First byte; in a group, from the row's start.")]
    type: Annotated[FieldType, Meta(description="How the bytes are read.")]
    length: Annotated[int | None, Meta(description="Bytes, if the type does not fix them.")] = None
    bit: Annotated[int | None, Meta(description="Lowest bit, counted from 0.")] = None
    width: Annotated[int | None, Meta(description="How many bits.")] = None
    byte_order: ByteOrder | None = None
    scale: Annotated[Number | None, Meta(description="value = raw * scale + offset")] = None
    offset: Annotated[Number | None, Meta(description="value = raw * scale + offset")] = None
    fraction: (
        Annotated[
            int, Meta(ge=1, le=63, description="Bits after the point of a fixed-point number.")
        ]
        | None
    ) = None
    curve: Annotated[
        tuple[tuple[int, Number], ...],
        Meta(max_length=4096, description="[raw, value] pairs, joined by straight lines."),
    ] = ()
    decimals: (
        Annotated[
            int, Meta(ge=0, le=30, description="Digits shown after the point, rounded half-even.")
        ]
        | None
    ) = None
    unit: Annotated[str, Meta(max_length=40)] | None = None
    low: Annotated[Number | None, Meta(description="Lowest allowed value.")] = None
    high: Annotated[Number | None, Meta(description="Highest allowed value.")] = None
    low_from: Annotated[str | None, Meta(description="Field that holds the low limit.")] = None
    high_from: Annotated[str | None, Meta(description="Field that holds the high limit.")] = None
    tolerance: Annotated[
        Number | None,
        Meta(description="A change of at most this much between visits needs no explanation."),
    ] = None
    values: Annotated[
        dict[str, Name] | None, Meta(description="Names for values: stored number = name.")
    ] = None
    encoding: Encoding | None = None
    padding: Padding | None = None
    parts: Annotated[
        tuple[Part, ...], Meta(max_length=16, description="What each byte of a date-time is.")
    ] = ()
    binary: Annotated[
        bool, Meta(description="The parts of a date-time are binary, not packed BCD.")
    ] = False
    century: Annotated[int, Meta(ge=0, le=9900, description="Added to a year.")] | None = None
    mirror_at: Annotated[
        tuple[int, ...], Meta(max_length=16, description="Further addresses of the same value.")
    ] = ()
    shares: Annotated[bool, Meta(description="Shares bytes with other fields on purpose.")] = False
    running: bool = False
    volatile: Annotated[bool, Meta(description="Changes while it is read.")] = False
    belongs_to_card: bool = False
    identifies_unit: bool = False
    note: Text | None = None
    source: Text | None = None

    @property
    def stored_length(self) -> int:
        """Return how many bytes the field takes."""
        if self.type.kind == "date-time":
            return len(self.parts)
        return self.type.length or (1 if self.length is None else self.length)

    @property
    def stored_width(self) -> int | None:
        """Return how many bits a flag or bits field takes; None for other types."""
        return (self.type.width or self.width) if self.type.takes_bits else None

    @property
    def bounds(self) -> tuple[int, int] | None:
        """Return the lowest and highest stored number; None if it is not a whole number."""
        bits = (self.stored_width or 1) if self.type.takes_bits else 8 * self.stored_length
        return None if self.type.bounds is None else self.type.bounds(bits)

    @property
    def value_names(self) -> dict[int, str] | None:
        """Return the names by stored number, None if there are none."""
        if self.values is None:
            return None
        return {stored_number(key): name for key, name in self.values.items()}

    def codec(self, order: ByteOrder, blank: int = 0xFF) -> Codec:
        """Return how its bytes are read and written in `order`; a blank byte reads `blank`."""
        return self.type.codec(
            Storage(
                self.stored_length,
                order,
                blank,
                self.bit or 0,
                self.stored_width or 1,
                self.encoding or "ascii",
                self.padding or "any",
                self.parts,
                self.century or 0,
                self.binary,
            )
        )


class Group(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """A table: the same fields, repeated from row to row."""

    name: Name
    at: Annotated[Address, Meta(description="First byte of the first row.")]
    count: Annotated[int, Meta(ge=1, le=MOST_FIELDS, description="How many rows.")]
    row_size: Annotated[int, Meta(ge=1, description="Bytes from one row to the next.")] | None = (
        None
    )
    rows: Annotated[tuple[Name, ...], Meta(description="A name for each row.")] = ()
    field: tuple[Field, ...] = ()
    group: tuple["Group", ...] = ()
    note: Text | None = None
    source: Text | None = None


class Check(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """A stored check value, and the bytes that it covers."""

    name: Name
    method: Annotated[str, Meta(description="A catalogue CRC, a sum, or `crc` with parameters.")]
    over: Annotated[
        tuple[tuple[int, int], ...],
        Meta(min_length=1, max_length=256, description="[first, last], both included."),
    ]
    at: Annotated[Address, Meta(description="Where the value is stored.")]
    byte_order: ByteOrder | None = None
    init: Annotated[int | None, Meta(description="Start value.")] = None
    width: Annotated[int | None, Meta(description="Of `crc`: bits, 3 to 128.")] = None
    poly: Annotated[int | None, Meta(description="Of `crc`: without the top bit.")] = None
    reflect_in: bool | None = None
    reflect_out: bool | None = None
    xor_out: int | None = None
    running: bool = False
    volatile: bool = False
    shares: bool = False
    note: Text | None = None
    source: Text | None = None


class Reserved(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """Bytes without a recorded meaning, or that must be blank."""

    name: Name = "reserved"
    at: Address
    length: Length
    must_be_blank: bool = False
    running: bool = False
    volatile: bool = False
    shares: bool = False
    note: Text | None = None
    source: Text | None = None


class Mirrored(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """A block and its duplicate, which must be the same."""

    name: Name = "mirrored"
    at: Address
    length: Length
    mirror_at: Annotated[int, Meta(description="First byte of the duplicate.")]
    note: Text | None = None
    source: Text | None = None


class Head(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """What the layout is, and for which memory."""

    title: Annotated[str, Meta(max_length=200)] | None = None
    revision: Annotated[str, Meta(max_length=80)] | None = None
    language: Annotated[int, Meta(description="Version of this language.")] = 1
    memory: (
        Annotated[int, Meta(ge=1, le=MOST_MEMORY, description="Size of the memory in bytes.")]
        | None
    ) = None
    byte_order: ByteOrder | None = None
    blank: Annotated[int, Meta(ge=0, le=255, description="What a blank byte reads.")] = 0xFF
    normal: Annotated[tuple[Normal, ...], Meta(description="What is normal in this memory.")] = ()
    card_types: tuple[str, ...] = ()
    software_versions: tuple[str, ...] = ()
    include: Annotated[tuple[str, ...], Meta(description="Files in the folder of this one.")] = ()
    note: Text | None = None
    source: Text | None = None


class LayoutFile(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, rename="kebab"):
    """One file of the language, as written."""

    layout: Head = Head()
    field: tuple[Field, ...] = ()
    group: tuple[Group, ...] = ()
    check: tuple[Check, ...] = ()
    reserved: tuple[Reserved, ...] = ()
    mirrored: Annotated[tuple[Mirrored, ...], Meta(max_length=64)] = ()


class Layout(Struct, frozen=True, kw_only=True, eq=False, dict=True):
    """A layout without mistakes, with its includes.

    `memory` is in bytes; `byte_order` is for fields without their own, and is
    "big" if no field needs one. `normal` names what does not make
    an image less plausible. Made by `load`; two layouts are never equal, only identical.
    """

    name: str
    title: str
    revision: str | None
    memory: int
    byte_order: ByteOrder
    blank: int
    normal: tuple[Normal, ...]
    card_types: tuple[str, ...]
    software_versions: tuple[str, ...]
    includes: tuple[str, ...]
    fields: tuple[Field, ...]
    groups: tuple[Group, ...]
    checks: tuple[Check, ...]
    reserved: tuple[Reserved, ...]
    mirrored: tuple[Mirrored, ...]
    note: str | None
    source: str | None


def stored_number(text: str) -> int:
    """Return the number that a key of `values` writes: decimal, or hexadecimal with 0x."""
    return int(text, 16 if "x" in text else 10)


def _own(kind: type, value: object) -> Number | FieldType:
    """Make a Number or FieldType of a TOML value; the library calls this for these two."""
    if kind is FieldType:
        field_type = field_types.TYPES.get(value) if isinstance(value, str) else None
        if field_type is None:
            raise TypeError("not a type")
        return field_type
    if kind is not Number or isinstance(value, bool) or not isinstance(value, int | Decimal):
        raise TypeError("not a number")
    return Number(value)


def _own_schema(kind: type) -> dict[str, Any]:
    return {"enum": sorted(field_types.TYPES)} if kind is FieldType else {"type": "number"}


def structured(tree: dict[str, Any]) -> LayoutFile:
    """Return a parsed file as structs; raise msgspec.ValidationError at its first mistake."""
    return msgspec.convert(tree, LayoutFile, dec_hook=_own)


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a layout file, for editors that complete and check."""
    made: dict[str, Any] = msgspec.json.schema(LayoutFile, schema_hook=_own_schema)
    return made
