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
    "the card sheet is not TOML text",
    "Save it as UTF-8, and correct the line named. `parambak card blank` writes one to fill in.",
)
SHEET_SIZE = Fault(
    "sheet-size",
    SheetRefused,
    "the card sheet is too large",
    "A card sheet is a page of text. Check that the right file is named.",
)
SHEET_ENTRY = Fault(
    "sheet-entry",
    SheetRefused,
    "the card sheet is wrong: {why}",
    "Correct each line named; formats/card-sheet.md explains each table.",
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
    """What a value must be, in words, and its text as an entry: None if it has another shape."""

    expected: str
    text: Callable[[object], str | None]


def plain_text(value: object) -> str | None:
    """Return a plain value as an entry's text; None if it is a list, a table or not a number."""
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
    return None if isinstance(value, bool) else plain_text(value)


def _text(value: object) -> str | None:
    return plain_text(value) if isinstance(value, str) and not isinstance(value, Written) else None


def _hexadecimal(digits: int) -> Shape:
    pattern = re.compile(rf"[0-9A-Fa-f]{{{digits}}}")

    def digits_of(value: object) -> str | None:
        text = _text(value)
        if text is None or not (text == "" or pattern.fullmatch(text)):
            return None
        return text.upper() if digits < 64 else text.lower()

    return Shape(f"{digits} hexadecimal digits in quotes", digits_of)


def _day(value: object) -> str | None:
    """Return a day, a month or a year; None if it is not one."""
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
    plain_text,
)
WORD = Shape(f"a text of at most {LONGEST_TEXT} plain characters, or a number", _word)
TEXT = Shape(f"a text of at most {LONGEST_TEXT} plain characters in quotes", _text)
DAY = Shape('a day, month or year: 2026-03-01, "2026-03", "2026"', _day)

FOR = "for"
FUNCTION_TESTS = "function-tests"
REQUIRED = "required"
MOST_TESTS = 99
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
TABLE_NAMES = (*TABLES, *ROWS, FUNCTION_TESTS)
# What people type for a table or key, and the keys that they intend: the first that is free.
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
    **dict.fromkeys(("tests", "test", "trials"), "function-tests"),
    "ship": "vessel",
}


def mistyped(name: str, keys: Iterable[str]) -> str | None:
    """Return the key that `name` is a typing mistake of, by letters and case; None without one."""
    bare = _letters(name)
    for word in keys:
        if name != word and (bare == _letters(word) or _one_letter_wrong(bare, _letters(word))):
            return word
    return None


def _intended(name: str, table: Collection[str], keys: Collection[str]) -> str | None:
    """Return the key that `name` is another word for; None if the table has it too."""
    words = _INTENDED.get(folded(name).replace("_", "-"), "").split()
    return next((word for word in words if word in keys and word not in table), None)


def _letters(name: str) -> str:
    return re.sub(r"[-_ ]", "", folded(name))


def _one_letter_wrong(typed: str, key: str) -> bool:
    """Return whether one letter added, left out, changed or moved by one makes them equal.

    A changed letter makes another word of a short one (side is not size), and a changed digit
    another name (label2).
    """
    if min(len(typed), len(key)) < 3 or any(c.isdigit() for c in set(typed) ^ set(key)):
        return False
    if len(typed) == len(key) < 6 and sorted(typed) != sorted(key):
        return False
    return one_letter_apart(typed, key)


class Sheet(NamedTuple):
    """A sheet: its entries by dotted name, its target by `[for]`, the function tests it lists."""

    entries: dict[str, str]
    target: dict[str, str]
    tests: tuple[str, ...] = ()


def read_sheet(data: bytes, name: str = "card sheet") -> Sheet:
    """Return the content of a sheet; raise SheetRefused with up to 20 of its mistakes."""
    if len(data) > MAX_BYTES:
        expected = f"at most {MAX_BYTES} bytes"
        raise SHEET_SIZE.error(file=name, expected=expected, found=f"{len(data)} bytes")
    try:
        file = read_toml(data, SHEET_TEXT, parse_float=Written)
    except SheetRefused as error:
        raise error.in_file(name) from None
    reading = _Reading()
    reading.read(file.tree)
    if reading.mistakes:
        raise _refusal(reading.mistakes, file.text, name)
    return Sheet(reading.entries, reading.target, tuple(reading.tests))


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

    placed = sorted((line(mistake.path), mistake) for mistake in mistakes)
    first = placed[0][1]
    further = [f"line {at}: {_words(mistake)}" for at, mistake in placed[1:]]
    why = "; also ".join([_words(first), "; ".join(further)] if further else [_words(first)])
    return SHEET_ENTRY.error(
        file=name, line=placed[0][0], why=why, expected=first.expected, found=first.found
    )


def _words(mistake: _Mistake) -> str:
    key = describe(key_text(mistake.path)).strip('"')
    return f"{key}: {mistake.why}" if key else mistake.why


class _Reading:
    """Goes through a sheet's tables; gathers entries and mistakes."""

    def __init__(self) -> None:
        self.entries: dict[str, str] = {}
        self.target: dict[str, str] = {}
        self.tests: list[str] = []
        self.mistakes: list[_Mistake] = []

    def wrong(self, path: Path, why: str, expected: str, found: object) -> None:
        if len(self.mistakes) < MOST_MISTAKES:
            self.mistakes.append(_Mistake(path, why, expected, describe(found)))

    def read(self, tree: dict[str, Any]) -> None:
        self.names(tree, (), TABLE_NAMES)
        for key, value in tree.items():
            path: Path = (key,)
            if key == FUNCTION_TESTS:
                self.function_tests(path, value)
            elif key in ROWS:
                self.rows(path, value, ROWS[key])
            elif key in TABLES:
                if not isinstance(value, dict):
                    self.wrong(path, "it is a separate table", f"[{key}]", value)
                else:
                    self.table(path, value, TABLES[key], _dotted(key))
            elif key != NOTE:
                self.value(path, value, _dotted(key), PLAIN)
        if len(self.entries) > MAX_ENTRIES:
            expected = f"at most {MAX_ENTRIES} entries"
            self.wrong((), "the sheet has too many entries", expected, len(self.entries))

    def names(self, table: dict[str, Any], path: Path, keys: Collection[str]) -> None:
        """Check the keys of a table: printable, short, not there twice, no typing mistake."""
        seen: dict[str, str] = {}
        for key in table:
            at = (*path, key)
            twin = seen.setdefault(folded(key), key)
            if not key or len(key) > LONGEST_NAME or hidden(key):
                expected = f"1 to {LONGEST_NAME} plain characters"
                self.wrong(at, "that is not a name", expected, key)
            elif twin != key:
                self.wrong(at, "the same name twice; case does not count", f"not {twin}", key)
            elif key in keys or (key == NOTE and path != (FOR,)):
                continue
            elif (word := mistyped(key, keys) or _intended(key, table, keys)) is not None:
                self.wrong(at, f"did you mean {word}?", word, key)
            elif path == (FOR,):
                self.wrong(at, "[for] has no such key", ", ".join(keys), key)

    def table(
        self, path: Path, table: dict[str, Any], shapes: Mapping[str, Shape], name: str
    ) -> None:
        self.names(table, path, shapes)
        for key, value in table.items():
            at = (*path, key)
            if path == (FOR,):
                text = TEXT.text(value) if key in shapes else ""
                if text is None:
                    self.wrong(at, "the name must be a text", TEXT.expected, value)
                elif text:
                    self.target[key] = text
            elif key != NOTE:
                self.value(at, value, f"{name}.{_dotted(key)}", shapes.get(key, PLAIN))

    def rows(self, path: Path, rows: object, shapes: Mapping[str, Shape]) -> None:
        """Take a list of tables that are distinguished by their positions."""
        key = str(path[0])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            self.wrong(path, "it is a list of tables", f"[[{key}]]", rows)
            return
        positions: set[str] = set()
        for index, row in enumerate(rows):
            at = (*path, index)
            position = shapes["position"].text(row.get("position", ""))
            if not position:
                before = len(self.mistakes)
                self.names(row, at, shapes)
                if len(self.mistakes) == before:
                    stated = row.get("position", "")
                    self.wrong(at, "the position on the card is missing", 'position = "…"', stated)
                continue
            if folded(position) in positions:
                why = "two rows with the same position"
                self.wrong((*at, "position"), why, "another position", position)
            positions.add(folded(position))
            self.table(at, row, shapes, f"{key}.{_dotted(position)}")

    def function_tests(self, path: Path, table: object) -> None:
        """Take the list of function tests of the unit; it is not compared."""
        if not isinstance(table, dict) or not isinstance(table.get(REQUIRED, []), list):
            expected = f'[{FUNCTION_TESTS}] with {REQUIRED} = ["…"]'
            self.wrong(path, "it is a table with one list", expected, table)
            return
        self.names(table, path, (REQUIRED,))
        for key in table.keys() - {REQUIRED, NOTE}:
            self.wrong((*path, key), "the table has no such key", REQUIRED, key)
        tests: list[object] = table.get(REQUIRED, [])
        if len(tests) > MOST_TESTS:
            self.wrong((*path, REQUIRED), "too many tests", f"at most {MOST_TESTS}", len(tests))
            return
        for row, test in enumerate(tests):
            text = TEXT.text(test)
            if not text:
                self.wrong((*path, REQUIRED, row), "a test is a text", TEXT.expected, test)
            else:
                self.tests.append(text)

    def value(self, path: Path, value: object, name: str, shape: Shape) -> None:
        """Take a value; under a free name it may be a table or a list of them."""
        if shape is PLAIN and isinstance(value, dict | list):
            self.below(path, value, name)
            return
        text = shape.text(value)
        if text is None:
            self.wrong(path, "a value of the wrong form", shape.expected, value)
        elif text:
            self.entries[name] = text

    def below(self, path: Path, value: dict[str, Any] | list[Any], name: str) -> None:
        if len(path) >= MAX_DEPTH:
            expected = f"tables at most {MAX_DEPTH} deep"
            self.wrong(path[:MAX_DEPTH], "too many tables within tables", expected, value)
        elif isinstance(value, list):
            for row, item in enumerate(value):
                self.value((*path, row), item, f"{name}.{row + 1}", PLAIN)
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
    of_unit, of_card = ({folded(name): text for name, text in s.items()} for s in (unit, card))
    # With a threshold, two sheets that share few names would count as one changed value.
    difference = DeepDiff(of_unit, of_card, view="tree", threshold_to_diff_deeper=0)
    differing = difference.get("values_changed", [])
    changed = {change.path(output_format="list")[0] for change in differing}
    entries = []
    for key in sorted(names):
        stated = key in of_unit and key in of_card
        same = key not in changed if stated else None
        texts = of_unit.get(key, NOT_STATED), of_card.get(key, NOT_STATED)
        entries.append(SheetEntry(names[key], *texts, same))
    return tuple(entries)


# What a difference may mean, by table and key. The words state what may follow, never that a
# difference is harmless: common practice, no source; the maker's documents take precedence.
_PROGRAM = (
    "another program may keep its parameters at other addresses, or read them in another way. Do "
    "not load the old card's file before the maker confirms that it fits this version"
)
_CLOCK = "times, baud rates and watchdogs may run at another speed"
_BATTERY = (
    "a memory kept by this battery may be lost already, or when the card comes out. Read it "
    "before power goes off"
)
# By the whole name of a key in a table, then by the table alone.
_KEYS: Mapping[tuple[str, str], str] = {
    ("card", "type"): "it may be another card: the maker must confirm that it replaces this one",
    ("card", "revision"): "a later revision may need other settings, or another program",
    ("card", "clock"): _CLOCK,
    ("card", "software"): _PROGRAM,
    ("program", "position"): "one of the cards does not have this program memory",
    ("program", "label"): "labels may be wrong: compare the checksum of a dump",
    ("program", "part"): "another memory part may be too slow, or need other links",
    ("program", "size"): "another memory part may need other links",
    ("node", "address"): (
        "two stations with one address disturb the bus for all; a wrong address gets no answer. "
        "Set it before the bus is connected"
    ),
    ("node", "speed"): "a station with another speed may disturb the bus for all",
    ("interface", "serial"): "another interface card: its adjustment may differ",
}
_TABLES: Mapping[str, str] = {
    "card": "the card itself may be another",
    "program": _PROGRAM,
    "links": "a link may select another mode, memory size, range, address or supply",
    "dip-switches": "a switch may select another mode, range or address",
    "rotary-switches": "a rotary switch often sets an address or a mode",
    "trimmers": "measured values or reference voltages may be wrong: adjust as the maker instructs",
    "terminations": "a bus with one termination too few or too many may fail at times",
    "node": "the card may get no answer on its bus, or may disturb it",
    "fuses": "a fuse of another rating may not protect, or may blow in service",
    "battery": _BATTERY,
    "interface": "a signal may come in at another place, or be of another kind",
}
UNKNOWN = "the effect is not recorded: ask the maker"
DEFER = "The maker's documents for this unit take precedence over these words."
NOT_ASKED = "stated on one sheet only: check the card"


def meaning(name: str) -> str:
    """Return what a difference in the entry of this dotted name may mean."""
    parts = name.split(".")
    table, key = parts[0], parts[-1]
    return _KEYS.get((table, key), _TABLES.get(table, UNKNOWN))
