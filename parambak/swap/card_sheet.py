"""Card sheets: what a processor card must carry to work in a unit.

A sheet is TOML: tables of known shape and any others (`formats/card-sheet.md`); two are
compared entry by entry. Pure: bytes in, values out.
"""

from __future__ import annotations

import json
import re
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.errors import Fault, SheetRefused
from parambak.keeping.state.conditions import SheetEntry
from parambak.layouts.mistakes import describe, key_text
from parambak.layouts.toml_text import MAX_BYTES, lines_of, read_toml
from parambak.memory.names import folded, one_letter_apart
from parambak.memory.printable import hidden

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping

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


LONGEST_NAME = 80  # characters
LONGEST_TEXT = 400  # characters
MOST_DIGITS = 18  # of a whole number
NOTE = "note"


class Written(str):
    """A number with a point, as it is typed: 3.20 is not 3.2."""

    __slots__ = ()


class Shape(NamedTuple):
    """What a value must be, in words, and how it is told: None where it is not of the shape."""

    expected: str
    told: Callable[[object], str | None]


def told(value: object) -> str | None:
    """Return a plain value as an entry's text; None where it is a list, a table or no number."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Written):
        return None if value.lstrip("+-") in {"nan", "inf"} else str(value)
    if isinstance(value, int):
        return str(value) if abs(value) < 10**MOST_DIGITS else None
    if isinstance(value, str):
        return value.strip() if len(value) <= LONGEST_TEXT and not hidden(value) else None
    return None if isinstance(value, list | dict) else str(value)


def _word(value: object) -> str | None:
    return None if isinstance(value, bool) else told(value)


def _text(value: object) -> str | None:
    return told(value) if isinstance(value, str) and not isinstance(value, Written) else None


def _hexadecimal(digits: int) -> Shape:
    pattern = re.compile(rf"[0-9A-Fa-f]{{{digits}}}")

    def sum_told(value: object) -> str | None:
        text = _text(value)
        if text is None or not (text == "" or pattern.fullmatch(text)):
            return None
        return text.upper() if digits < 64 else text.lower()

    return Shape(f"{digits} hexadecimal digits in quotes", sum_told)


def _day(value: object) -> str | None:
    """Return a day, a month or a year; None where it is none."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value.isoformat()
    text = _word(value)
    if text is None or isinstance(value, Written):
        return None
    if text and not re.fullmatch(r"[12][0-9]{3}(-[0-9]{2}){0,2}", text):
        return None
    try:
        date.fromisoformat((text + "-01-01")[:10] if text else "2000-01-01")
    except ValueError:
        return None
    return text


PLAIN = Shape(
    f"a text of at most {LONGEST_TEXT} plain characters, a number, true, false, a date or a list",
    told,
)
WORD = Shape(f"a text of at most {LONGEST_TEXT} plain characters, or a number", _word)
TEXT = Shape(f"a text of at most {LONGEST_TEXT} plain characters in quotes", _text)
DAY = Shape('a day, month or year: 2026-03-01, "2026-03", "2026"', _day)

FOR = "for"
FREE = ("links", "dip-switches", "rotary-switches", "trimmers", "terminations", "fuses")
ROWS: Mapping[str, Mapping[str, Shape]] = {
    "program": {
        "position": WORD,
        "label": WORD,
        "version": WORD,
        "part": WORD,
        "printed": WORD,
        "size": WORD,
        "sum-8": _hexadecimal(2),
        "sum-16": _hexadecimal(4),
        "crc-32": _hexadecimal(8),
        "sha-256": _hexadecimal(64),
    },
    "interface": {"position": WORD, "type": WORD, "serial": WORD, "signal": WORD},
}
TABLES: Mapping[str, Mapping[str, Shape]] = {
    FOR: {"vessel": TEXT, "unit": TEXT, "card": TEXT},
    "card": {"type": WORD, "revision": WORD, "clock": WORD, "software": WORD},
    "node": {"address": WORD, "bus": WORD, "speed": WORD},
    "battery": {"type": WORD, "fitted": DAY, "replace-by": DAY, "keeps": WORD},
    **{name: {} for name in FREE},
}
KNOWN = (*TABLES, *ROWS)
# What people type for a table or key, and the ones that they intend: the first that goes there.
_INTENDED: Mapping[str, str] = {
    **dict.fromkeys(("place", "location", "socket", "slot"), "position"),
    **dict.fromkeys(("firmware", "fw", "ver"), "version software"),
    **dict.fromkeys(("jumper", "jumpers", "strap", "straps"), "links"),
    **dict.fromkeys(("dip", "dips", "dipswitch"), "dip-switches"),
    **dict.fromkeys(("pot", "pots", "potentiometers", "trimpots"), "trimmers"),
    **dict.fromkeys(("terminators", "terminating"), "terminations"),
    **dict.fromkeys(("eprom", "eproms", "prom"), "program"),
    **dict.fromkeys(("baud", "baudrate", "bitrate"), "speed"),
    **dict.fromkeys(("crystal", "oscillator"), "clock"),
    **dict.fromkeys(("crc", "crc32"), "crc-32"),
    **dict.fromkeys(("sha", "digest"), "sha-256"),
    "ship": "vessel",
}


def meant(name: str, known: Iterable[str]) -> str | None:
    """Return the known word that `name` is a slip of: letters and case alone, None where none."""
    bare = _letters(name)
    for word in known:
        if name != word and (bare == _letters(word) or _slip_of_one_letter(bare, _letters(word))):
            return word
    return None


def _intended(name: str, table: Collection[str], known: Collection[str]) -> str | None:
    """Return the known word that `name` is another word for; None if the table has it too."""
    words = _INTENDED.get(folded(name).replace("_", "-"), "").split()
    return next((word for word in words if word in known and word not in table), None)


def _letters(name: str) -> str:
    return re.sub(r"[-_ ]", "", folded(name))


def _slip_of_one_letter(one: str, other: str) -> bool:
    """Return whether one letter added, left out, changed or moved by one makes them equal.

    A letter changed makes another word of a short one (side is not size), and a digit
    another name (label2).
    """
    if min(len(one), len(other)) < 3 or any(each.isdigit() for each in set(one) ^ set(other)):
        return False
    if len(one) == len(other) < 6 and sorted(one) != sorted(other):
        return False
    return one_letter_apart(one, other)


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
            elif (word := meant(key, known) or _intended(key, table, known)) is not None:
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
            place = known["position"].told(row.get("position", ""))
            if not place:
                before = len(self.mistakes)
                self.names(row, at, known)
                if len(self.mistakes) == before:
                    stated = row.get("position", "")
                    self.wrong(at, "which position on the card?", 'position = "…"', stated)
                continue
            if folded(place) in places:
                self.wrong((*at, "position"), "two rows with one position", "another place", place)
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


def compare_sheets(unit: dict[str, str], card: dict[str, str]) -> tuple[SheetEntry, ...]:
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
        entry = SheetEntry(names[key], ours.get(key, NOT_STATED), theirs.get(key, NOT_STATED), same)
        entries.append(entry)
    return tuple(entries)


# What a difference may mean: careful words, by table and key. They say what may follow, never
# that a difference is harmless: common practice, no source; the maker's documents go first.
_PROGRAM = (
    "another program may keep its parameters elsewhere, or take them to mean something else: do "
    "not load the old card's file before the maker says that it fits this version"
)
_CLOCK = "times, baud rates and watchdogs may run at another pace"
_BATTERY = (
    "a memory kept by this battery may be lost already, or when the card comes out: read it "
    "before power goes off"
)
# By the whole name of a key in a table, then by the table alone.
_KEYS: Mapping[tuple[str, str], str] = {
    ("card", "type"): "it may be another card: the maker must say that it replaces this one",
    ("card", "revision"): "a later revision may need other settings, or another program",
    ("card", "clock"): _CLOCK,
    ("card", "software"): _PROGRAM,
    ("program", "position"): "a program memory that one of them does not have",
    ("program", "label"): "labels may be wrong: compare the checksum of a dump",
    ("program", "part"): "another memory part may be too slow, or need links set otherwise",
    ("program", "size"): "another memory part may need links set otherwise",
    ("node", "address"): (
        "two stations of one address disturb the bus for all, and a wrong one is not heard: set "
        "it before the bus is connected"
    ),
    ("node", "speed"): "a station of another speed may disturb the bus for all",
    ("interface", "serial"): "another interface card: its own adjustment may differ",
}
_TABLES: Mapping[str, str] = {
    "card": "the card itself may be another",
    "program": _PROGRAM,
    "links": "a link may choose another mode, memory size, range, address or supply",
    "dip-switches": "a switch may choose another mode, range or address",
    "rotary-switches": "a rotary switch often sets an address or a mode",
    "trimmers": "measured values or reference voltages may be off: adjust as the maker says",
    "terminations": "a bus with one termination too few or too many may fail now and then",
    "node": "the card may not be heard on its bus, or may disturb it",
    "fuses": "a fuse of another rating may not protect, or may blow in service",
    "battery": _BATTERY,
    "interface": "a signal may come in at another place, or be taken for another kind",
}
UNKNOWN = "the sheets do not say what follows: ask the maker"
DEFER = "The maker's documents for this very unit go before these words."
NOT_ASKED = "stated on one sheet alone: look at the card"


def meaning(name: str) -> str:
    """Return what a difference in the entry of this dotted name may mean."""
    parts = name.split(".")
    table, key = parts[0], parts[-1]
    return _KEYS.get((table, key), _TABLES.get(table, UNKNOWN))
