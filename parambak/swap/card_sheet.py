"""Card sheets: what a processor card must carry to work in a unit.

A sheet is TOML with any names and tables; two are compared entry by entry.
"""

from __future__ import annotations

import tomllib
from typing import Any, NamedTuple

from parambak.errors import Fault, SheetRefused

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
    try:
        tree = tomllib.loads(data.decode("utf-8"))
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise SHEET_TEXT.at(file=name, expected="TOML text in UTF-8", found=str(error)) from error
    return dict(_flat(tree, ""))


def _flat(tree: dict[str, Any], prefix: str) -> list[tuple[str, str]]:
    entries = []
    for key, value in tree.items():
        name = f"{prefix}{key}"
        if isinstance(value, dict):
            entries += _flat(value, f"{name}.")
        elif isinstance(value, list):
            entries += _flat({str(n): each for n, each in enumerate(value, 1)}, f"{name}.")
        else:
            entries.append((name, _text(value)))
    return entries


def _text(value: object) -> str:
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def compare_sheets(unit: dict[str, str], card: dict[str, str]) -> tuple[Entry, ...]:
    """Return every entry of either sheet, by name, and whether the two agree."""
    from deepdiff import DeepDiff  # noqa: PLC0415 - slow to import, needed here alone

    differing = DeepDiff(unit, card, view="tree").get("values_changed", [])
    changed = {change.path(output_format="list")[0] for change in differing}
    entries = []
    for name in sorted({*unit, *card}):
        ours, theirs = unit.get(name, NOT_STATED), card.get(name, NOT_STATED)
        stated = name in unit and name in card
        entries.append(Entry(name, ours, theirs, name not in changed if stated else None))
    return tuple(entries)
