"""The tables and keys that a card sheet is known to have, and the shape of their values.

`formats/card-sheet.md` specifies them. Pure: values in, texts out.
"""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.texts import hidden

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

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
        "place": WORD,
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
    "interface": {"place": WORD, "type": WORD, "serial": WORD, "signal": WORD},
}
TABLES: Mapping[str, Mapping[str, Shape]] = {
    FOR: {"vessel": TEXT, "unit": TEXT, "card": TEXT},
    "card": {"type": WORD, "revision": WORD, "clock": WORD, "software": WORD},
    "node": {"address": WORD, "bus": WORD, "speed": WORD},
    "battery": {"type": WORD, "fitted": DAY, "replace-by": DAY, "keeps": WORD},
    **{name: {} for name in FREE},
}
KNOWN = (*TABLES, *ROWS)


def folded(name: str) -> str:
    """Return a name as it is compared: NFKC, without case."""
    return unicodedata.normalize("NFKC", name).casefold()


def meant(name: str, known: Iterable[str]) -> str | None:
    """Return the known word that `name` is a slip of: letters and case alone, None where none."""
    bare = _letters(name)
    for word in known:
        if name != word and (bare == _letters(word) or _one_letter(bare, _letters(word))):
            return word
    return None


def _letters(name: str) -> str:
    return re.sub(r"[-_ ]", "", folded(name))


def _one_letter(one: str, other: str) -> bool:
    """Tell whether one letter added, left out, changed or moved by one makes them equal.

    A letter changed makes another word of a short one (side is not size), and a digit
    another name (label2).
    """
    if min(len(one), len(other)) < 3 or any(each.isdigit() for each in set(one) ^ set(other)):
        return False
    start = 0
    while start < min(len(one), len(other)) and one[start] == other[start]:
        start += 1
    mine, theirs = one[start:], other[start:]
    swapped = mine[1:2] + mine[:1] + mine[2:]
    changed = len(one) >= 6 and mine[1:] == theirs[1:]
    return changed or theirs in {mine[1:], swapped} or mine == theirs[1:]
