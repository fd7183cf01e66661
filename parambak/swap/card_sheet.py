"""Card sheets: what a processor card must carry to work in a unit.

A sheet is TOML with any names and tables; two are compared entry by entry.
"""

from __future__ import annotations

import json
import re
import tomllib
from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.errors import Fault, SheetRefused

if TYPE_CHECKING:
    from collections.abc import Iterator

SHEET_TEXT = Fault(
    "sheet-text",
    SheetRefused,
    "the card sheet is no TOML text",
    "Save it as UTF-8, and mend the line named.",
)
SHEET_SIZE = Fault(
    "sheet-size",
    SheetRefused,
    "the card sheet is too large",
    "A card sheet is a page of text: check that the right file was named.",
)

MAX_BYTES = 256 * 1024
MAX_DEPTH = 16
MAX_LINE = 2000  # bytes; the TOML parser's time grows with the square of a dotted name
_BARE = re.compile(r"[A-Za-z0-9_-]+")
NOT_STATED = "not stated"


class Entry(NamedTuple):
    """One entry of two sheets: `same` is None where one of them does not state it."""

    name: str
    unit: str
    card: str
    same: bool | None


def load_sheet(data: bytes, name: str = "card sheet") -> dict[str, str]:
    """Return a sheet's entries, tables joined to dotted names; raise SheetRefused."""
    if len(data) > MAX_BYTES:
        raise SHEET_SIZE.at(
            file=name, expected=f"at most {MAX_BYTES} bytes", found=f"{len(data)} bytes"
        )
    longest = max(len(line) for line in data.split(b"\n"))
    if longest > MAX_LINE:
        raise SHEET_TEXT.at(
            file=name, expected=f"lines of at most {MAX_LINE} bytes", found=f"{longest} bytes"
        )
    try:
        # As typed: software 3.20 is not 3.2, though the two are one number.
        return dict(_flat(tomllib.loads(data.decode("utf-8"), parse_float=str)))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        said = str(error)[:200]
        raise SHEET_TEXT.at(file=name, expected="TOML text in UTF-8", found=said) from error


def _flat(tree: dict[str, Any], prefix: str = "", depth: int = 1) -> Iterator[tuple[str, str]]:
    """Yield the entries below a table; a table or list without any is an entry itself."""
    if depth > MAX_DEPTH:
        raise ValueError(f"tables more than {MAX_DEPTH} deep")
    for key, value in tree.items():
        name = prefix + (key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False))
        if isinstance(value, list):
            value = {str(row): each for row, each in enumerate(value, 1)}  # noqa: PLW2901 - one shape for both
        if isinstance(value, dict) and value:
            yield from _flat(value, f"{name}.", depth + 1)
        else:
            yield name, "none" if isinstance(value, dict) else _text(value)


def _text(value: object) -> str:
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def compare_sheets(unit: dict[str, str], card: dict[str, str]) -> tuple[Entry, ...]:
    """Return every entry of either sheet, by name, and whether the two agree."""
    from deepdiff import DeepDiff  # noqa: PLC0415 - slow to import, needed here alone

    # With a threshold, two sheets that share few names would count as one changed value.
    found = DeepDiff(unit, card, view="tree", threshold_to_diff_deeper=0)
    differing = found.get("values_changed", [])
    changed = {change.path(output_format="list")[0] for change in differing}
    entries = []
    for name in sorted({*unit, *card}):
        ours, theirs = unit.get(name, NOT_STATED), card.get(name, NOT_STATED)
        stated = name in unit and name in card
        entries.append(Entry(name, ours, theirs, name not in changed if stated else None))
    return tuple(entries)
