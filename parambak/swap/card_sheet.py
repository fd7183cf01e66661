"""Card sheets: what a processor card must carry to work in a unit.

A sheet is TOML: tables of known shape and any others (`formats/card-sheet.md`); two are
compared entry by entry. Pure: bytes in, values out.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.errors import Fault, SheetRefused
from parambak.layouts.mistakes import describe, key_text
from parambak.layouts.texts import hidden
from parambak.layouts.toml_text import MAX_BYTES, lines_of, read_toml
from parambak.swap.card_shapes import (
    FOR,
    FREE,
    KNOWN,
    LONGEST_NAME,
    NOTE,
    PLAIN,
    ROWS,
    TABLES,
    TEXT,
    Shape,
    Written,
    folded,
    meant,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from parambak.layouts.toml_text import Path

SHEET_TEXT = Fault(
    "sheet-text",
    SheetRefused,
    "the card sheet is no TOML text",
    "Save it as UTF-8, and mend the line named; `parambak card blank` gives one to fill in.",
)
SHEET_SIZE = Fault(
    "sheet-size",
    SheetRefused,
    "the card sheet is too large",
    "A card sheet is a page of text: check that the right file was named.",
)
SHEET_ENTRY = Fault(
    "sheet-entry",
    SheetRefused,
    "the card sheet is wrong: {why}",
    "Mend each line named; formats/card-sheet.md says what each table holds.",
)

MAX_DEPTH = 8
MAX_ENTRIES = 2000
MOST_MISTAKES = 20
_BARE = re.compile(r"[A-Za-z0-9_-]+")
NOT_STATED = "not stated"


class Entry(NamedTuple):
    """One entry of two sheets: `same` is None where one of them does not state it."""

    name: str
    unit: str
    card: str
    same: bool | None


class Sheet(NamedTuple):
    """A sheet: its entries by dotted name, and what `[for]` says that it is for."""

    entries: dict[str, str]
    target: dict[str, str]


def read_sheet(data: bytes, name: str = "card sheet") -> Sheet:
    """Return what a sheet states; raise SheetRefused with up to 20 of its mistakes."""
    if len(data) > MAX_BYTES:
        expected = f"at most {MAX_BYTES} bytes"
        raise SHEET_SIZE.error(file=name, expected=expected, found=f"{len(data)} bytes")
    try:
        file = read_toml(data, SHEET_TEXT, parse_float=Written)
    except SheetRefused as error:
        raise error.in_file(name) from None
    reading = _Reading()
    reading.whole(file.tree)
    if reading.mistakes:
        raise _refusal(reading.mistakes, file.text, name)
    return Sheet(reading.entries, reading.target)


class _Mistake(NamedTuple):
    path: Path
    why: str
    expected: str
    found: str


def _refusal(mistakes: list[_Mistake], text: str, name: str) -> Exception:
    """Return the error that names the first mistake, and the others with their lines."""
    lines = lines_of(text)

    def line(path: Path) -> int:
        ends = (path[:end] for end in range(len(path), 0, -1))
        return next((lines[end] for end in ends if end in lines), 1)

    placed = sorted((line(each.path), each) for each in mistakes)
    first = placed[0][1]
    others = [f"line {at}: {_said(each)}" for at, each in placed[1:]]
    why = "; also ".join([_said(first), "; ".join(others)] if others else [_said(first)])
    return SHEET_ENTRY.error(
        file=name, line=placed[0][0], why=why, expected=first.expected, found=first.found
    )


def _said(mistake: _Mistake) -> str:
    key = describe(key_text(mistake.path)).strip('"')
    return f"{key}: {mistake.why}" if key else mistake.why


class _Reading:
    """Goes through a sheet's tables; gathers entries and mistakes."""

    def __init__(self) -> None:
        self.entries: dict[str, str] = {}
        self.target: dict[str, str] = {}
        self.mistakes: list[_Mistake] = []

    def wrong(self, path: Path, why: str, expected: str, found: object) -> None:
        if len(self.mistakes) < MOST_MISTAKES:
            self.mistakes.append(_Mistake(path, why, expected, describe(found)))

    def whole(self, tree: dict[str, Any]) -> None:
        self.names(tree, (), KNOWN)
        for key, value in tree.items():
            path: Path = (key,)
            if key in ROWS:
                self.rows(path, value, ROWS[key])
            elif key in TABLES:
                if not isinstance(value, dict):
                    self.wrong(path, "it is a table of its own", f"[{key}]", value)
                else:
                    self.table(path, value, TABLES[key], _dotted(key))
            elif key != NOTE:
                self.value(path, value, _dotted(key), PLAIN)
        if len(self.entries) > MAX_ENTRIES:
            expected = f"at most {MAX_ENTRIES} entries"
            self.wrong((), "more entries than a card has", expected, len(self.entries))

    def names(self, table: dict[str, Any], path: Path, known: Collection[str]) -> None:
        """Judge the keys of a table: shown, short, of their own, no slip of a known one."""
        seen: dict[str, str] = {}
        for key in table:
            at = (*path, key)
            twin = seen.setdefault(folded(key), key)
            if not key or len(key) > LONGEST_NAME or hidden(key):
                expected = f"1 to {LONGEST_NAME} plain characters"
                self.wrong(at, "that is no name", expected, key)
            elif twin != key:
                self.wrong(at, "the same name twice, but for case", f"another than {twin}", key)
            elif key in known or (key == NOTE and path != (FOR,)):
                continue
            elif (word := meant(key, known)) is not None:
                self.wrong(at, f"did you mean {word}?", word, key)
            elif path == (FOR,):
                self.wrong(at, "[for] has no such key", ", ".join(known), key)

    def table(
        self, path: Path, table: dict[str, Any], known: Mapping[str, Shape], name: str
    ) -> None:
        self.names(table, path, known)
        for key, value in table.items():
            at = (*path, key)
            if path == (FOR,):
                text = TEXT.told(value) if key in known else ""
                if text is None:
                    self.wrong(at, "a name is a text", TEXT.expected, value)
                elif text:
                    self.target[key] = text
            elif key != NOTE:
                self.value(at, value, f"{name}.{_dotted(key)}", known.get(key, PLAIN))

    def rows(self, path: Path, rows: object, known: Mapping[str, Shape]) -> None:
        """Take a list of tables that are told apart by their places."""
        key = str(path[0])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.wrong(path, "it is a list of tables", f"[[{key}]]", rows)
            return
        places: set[str] = set()
        for index, row in enumerate(rows):
            at = (*path, index)
            place = known["place"].told(row.get("place", ""))
            if not place:
                self.wrong(at, "which place on the card?", 'place = "…"', row.get("place", ""))
                continue
            if folded(place) in places:
                self.wrong((*at, "place"), "two rows with one place", "another place", place)
            places.add(folded(place))
            self.table(at, row, known, f"{key}.{_dotted(place)}")

    def value(self, path: Path, value: object, name: str, shape: Shape) -> None:
        """Take a value; of an unknown name it may be a table or a list of them."""
        if shape is PLAIN and isinstance(value, dict | list):
            self.below(path, value, name)
            return
        text = shape.told(value)
        if text is None:
            self.wrong(path, "a value that cannot be meant so", shape.expected, value)
        elif text:
            self.entries[name] = text

    def below(self, path: Path, value: dict[str, Any] | list[Any], name: str) -> None:
        if len(path) >= MAX_DEPTH:
            expected = f"tables at most {MAX_DEPTH} deep"
            self.wrong(path[:MAX_DEPTH], "tables within tables", expected, value)
        elif isinstance(value, list):
            for row, each in enumerate(value):
                self.value((*path, row), each, f"{name}.{row + 1}", PLAIN)
        elif path[0] in (*FREE, *ROWS, *TABLES):
            self.wrong(path, "a table where a value belongs", PLAIN.expected, value)
        else:
            self.table(path, value, {}, name)


def _dotted(key: str) -> str:
    return key if _BARE.fullmatch(key) else json.dumps(key, ensure_ascii=False)


def compare_sheets(unit: dict[str, str], card: dict[str, str]) -> tuple[Entry, ...]:
    """Return every entry of either sheet, by name, and whether the two agree.

    Names are compared without case; the unit's spelling is shown.
    """
    from deepdiff import DeepDiff  # noqa: PLC0415 - slow to import, needed here alone

    names = {folded(name): name for name in (*card, *unit)}
    ours, theirs = ({folded(name): text for name, text in s.items()} for s in (unit, card))
    # With a threshold, two sheets that share few names would count as one changed value.
    found = DeepDiff(ours, theirs, view="tree", threshold_to_diff_deeper=0)
    differing = found.get("values_changed", [])
    changed = {change.path(output_format="list")[0] for change in differing}
    entries = []
    for key in sorted(names):
        stated = key in ours and key in theirs
        same = key not in changed if stated else None
        entry = Entry(names[key], ours.get(key, NOT_STATED), theirs.get(key, NOT_STATED), same)
        entries.append(entry)
    return tuple(entries)
