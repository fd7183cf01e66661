"""The table of memory chips: sizes, widths and blank values by generic part number.

The file is `shared/chips.toml`, or one of the same form; its comment is its specification.
"""

from __future__ import annotations

import re
import tomllib
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, Any, Literal

import msgspec

from parambak.errors import Fault, SheetRefused

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_BYTES = 1 << 20
LARGEST = 16 << 20  # an image's limit
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
Size = Annotated[int, msgspec.Meta(ge=1, le=LARGEST)]
Byte = Annotated[int, msgspec.Meta(ge=0, le=0xFF)]
Kind = Literal["eprom", "eeprom", "fram", "battery-backed sram"]
Source = Annotated[str, msgspec.Meta(min_length=1, max_length=500)]


class Chip(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part: `size` in bytes, `width` of a word in bits, `blank` the value of an erased byte.

    `blank` is None if the part has no erased state.
    """

    name: Name
    size: Size
    width: Literal[8, 16]
    kind: Kind
    source: Source
    blank: Byte | None = None


def chips(text: bytes) -> Mapping[str, Chip]:
    """Return the chips of a table, by their names in lower case.

    Raises SheetRefused, with the line if possible, for a file that is no such table.
    """
    table_of_chips: dict[str, Chip] = {}
    lines = _entry_lines(text)
    tables = _tables(text)
    for number, table in enumerate(tables):
        line = lines[number] if len(lines) == len(tables) else None
        chip = _chip(table, number, line)
        if chip.name.casefold() in table_of_chips:
            raise TWICE.error(line=line, expected="one entry", found=chip.name, name=chip.name)
        table_of_chips[chip.name.casefold()] = chip
    return MappingProxyType(table_of_chips)


def _tables(text: bytes) -> list[Any]:
    """Return the entries under `chip`, not yet checked."""
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
    tables = document.get("chip")
    if list(document) != ["chip"] or not isinstance(tables, list):
        raise TEXT.error(
            expected="only [[chip]] entries", found=", ".join(document)[:200] or "none"
        )
    return tables


def _chip(table: object, number: int, line: int | None) -> Chip:
    """Return one entry as a checked chip."""
    name = table.get("name") if isinstance(table, dict) else None
    plain = isinstance(name, str) and re.match(NAME, name)
    entry = str(name) if plain else f"number {number + 1}"
    try:
        chip = msgspec.convert(table, Chip, strict=True)
    except msgspec.ValidationError as error:
        message = str(error).replace("$.", "").replace("object", "entry")
        raise ENTRY.error(
            line=line, entry=entry, expected="a part's keys", found=message
        ) from error
    if chip.size * 8 % chip.width:
        expected = f"whole words of {chip.width} bits"
        raise ENTRY.error(line=line, entry=entry, expected=expected, found=f"size {chip.size}")
    return chip


def _entry_lines(text: bytes) -> list[int]:
    """Return the line of each `[[chip]]` header."""
    header = re.compile(rb"[ \t]*\[\[[ \t]*chip[ \t]*\]\]")
    return [number for number, line in enumerate(text.split(b"\n"), 1) if header.match(line)]
