"""The table of memory chips: sizes, widths and blank values by generic part number.

The file is `shared/chips.toml`, or one of the same form; its comment is its specification.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal

import msgspec

from parambak.dumps.limits import MAX_IMAGE
from parambak.errors import Fault, SheetRefused

MOST_BYTES = 1 << 20
LARGEST = MAX_IMAGE
TEXT = Fault(
    "chips-text",
    SheetRefused,
    "the table of chips is not valid TOML",
    "Write the file as UTF-8 text after the pattern in its first comment.",
)
ENTRY = Fault(
    "chips-entry",
    SheetRefused,
    "an entry of the table of chips is wrong: {entry}",
    "Correct that entry by the part's data sheet; the file's first comment explains the keys.",
)
TWICE = Fault(
    "chips-twice",
    SheetRefused,
    "the table of chips has two entries for {name}",
    "Remove one of the two; capital and small letters count as the same.",
)
NAME = r"^[A-Za-z0-9][A-Za-z0-9.-]{0,39}\Z"
Name = Annotated[str, msgspec.Meta(pattern=NAME)]
Letters = Annotated[str, msgspec.Meta(pattern=r"^[A-Z]{1,4}\Z")]
Size = Annotated[int, msgspec.Meta(ge=1, le=LARGEST)]
Byte = Annotated[int, msgspec.Meta(ge=0, le=0xFF)]
Kind = Literal["eprom", "eeprom", "flash", "fram", "nvsram", "battery-backed sram"]
Bus = Literal["parallel", "two-wire", "spi", "microwire"]
Source = Annotated[str, msgspec.Meta(min_length=1, max_length=500)]


class Chip(msgspec.Struct, frozen=True):
    """A part: `size` in bytes, `width` of a word in bits, `blank` the value of an erased byte.

    `blank` is None if the part has no erased state.
    """

    name: str
    size: int
    width: Literal[8, 16]
    kind: Kind
    bus: Bus
    source: str
    blank: int | None = None

    @property
    def words(self) -> str:
        """Return the size in words, such as "256 bytes, 128 words of 16 bits"."""
        words = f", {self.size * 8 // self.width} words of {self.width} bits"
        return f"{self.size} bytes" + (words if self.width > 8 else "")


class Family(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An entry of the table: parts with the same facts, each with its size.

    A number that begins with one of `printed` stands for one that begins with `begins`. `also`
    are other numbers of a part.
    """

    kind: Kind
    bus: Bus
    width: Literal[8, 16]
    source: Source
    sizes: dict[Name, Size]
    blank: Byte | None = None
    begins: Name = ""
    printed: tuple[Name, ...] = ()
    also: dict[Name, Name] = {}


class ChipTable(Mapping[str, Chip]):
    """The chips by their names in lower case, and what reads the number printed on one.

    `makers` are letters that makers print before the number. `beginnings` are pairs: as it may
    be printed, and as the names of the table begin. `also` are other numbers, in lower case.
    """

    def __init__(self, makers: tuple[str, ...], families: Sequence[Family]) -> None:
        self.makers = makers
        self.beginnings = tuple(
            (printed, family.begins) for family in families for printed in family.printed
        )
        self.also = {
            number.casefold(): name.casefold()
            for family in families
            for number, name in family.also.items()
        }
        self._chips = {
            name.casefold(): Chip(
                name, size, family.width, family.kind, family.bus, family.source, family.blank
            )
            for family in families
            for name, size in family.sizes.items()
        }

    def __getitem__(self, name: str) -> Chip:
        return self._chips[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._chips)

    def __len__(self) -> int:
        return len(self._chips)


def chips(text: bytes) -> ChipTable:
    """Return the table of chips that a file holds.

    Raises SheetRefused, with the line if possible, for a file that is no such table.
    """
    makers, tables = _tables(text)
    lines = _entry_lines(text)
    families: list[Family] = []
    names: set[str] = set()
    for number, table in enumerate(tables):
        line = lines[number] if len(lines) == len(tables) else None
        family = _family(table, number, line)
        for name in (*family.sizes, *family.also):
            if name.casefold() in names:
                raise TWICE.error(line=line, expected="one entry", found=name, name=name)
            names.add(name.casefold())
        families.append(family)
    chip_table = ChipTable(makers, families)
    for printed, name in chip_table.also.items():
        if name not in chip_table:
            raise ENTRY.error(entry=printed, expected="a part of the table", found=name)
    return chip_table


def _tables(text: bytes) -> tuple[tuple[str, ...], list[Any]]:
    """Return the makers' letters, and the entries under `family`, not yet checked."""
    if len(text) > MOST_BYTES:
        raise TEXT.error(expected=f"at most {MOST_BYTES} bytes", found=f"{len(text)} bytes")
    try:
        document = tomllib.loads(text.decode("utf-8"))
    except UnicodeDecodeError as error:
        line = text.count(b"\n", 0, error.start) + 1
        raise TEXT.error(line=line, expected="UTF-8", found=f"{text[error.start]:02X}") from error
    except (ValueError, RecursionError) as error:
        message = str(error)[:200]
        where = re.search(r"at line (\d+)", message)
        line_or_none = int(where[1]) if where else None
        raise TEXT.error(line=line_or_none, expected="TOML", found=message) from error
    tables = document.get("family")
    if document.keys() - {"makers"} != {"family"} or not isinstance(tables, list):
        raise TEXT.error(
            expected="makers and [[family]] entries", found=", ".join(document)[:200] or "none"
        )
    try:
        makers = msgspec.convert(document.get("makers", []), tuple[Letters, ...], strict=True)
    except msgspec.ValidationError as error:
        raise ENTRY.error(entry="makers", expected="letters", found=str(error)) from error
    return makers, tables


def _family(table: object, number: int, line: int | None) -> Family:
    """Return one entry as a checked family."""
    sizes = table.get("sizes") if isinstance(table, dict) else None
    name = next(iter(sizes), None) if isinstance(sizes, dict) else None
    plain = isinstance(name, str) and re.match(NAME, name)
    entry = f"that of {name}" if plain else f"number {number + 1}"
    try:
        family = msgspec.convert(table, Family, strict=True)
    except msgspec.ValidationError as error:
        message = str(error).replace("$.", "").replace("object", "entry")
        raise ENTRY.error(
            line=line, entry=entry, expected="a family's keys", found=message
        ) from error
    for part, size in family.sizes.items():
        if size * 8 % family.width:
            expected = f"whole words of {family.width} bits"
            raise ENTRY.error(line=line, entry=part, expected=expected, found=f"size {size}")
    return family


def _entry_lines(text: bytes) -> list[int]:
    """Return the line of each `[[family]]` header."""
    header = re.compile(rb"[ \t]*\[\[[ \t]*family[ \t]*\]\]")
    return [number for number, line in enumerate(text.split(b"\n"), 1) if header.match(line)]
