"""The values to look for, from a text file: what a panel or a print-out shows.

One value a line, `name = value unit`; values seen at several visits follow each
other with `|` between, in the order of the copies. `formats/layout-find.md` has the form.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from parambak.find import faults
from parambak.memory.names import folded
from parambak.memory.printable import hidden

if TYPE_CHECKING:
    from parambak.errors import ParambakError

MOST_BYTES = 1024 * 1024
MOST_VALUES = 500
MOST_NAME = 80
MOST_UNIT = 40
MOST_TEXT = 256
MOST_DIGITS = 24
MOST_COPIES = 16

UNSEEN = "?"
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})
_NUMBER = re.compile(r"(?P<number>[+-]?0[xX][0-9A-Fa-f]+|[+-]?[0-9][0-9.,']*)\s*(?P<unit>.*)")
_UNIT = re.compile(r"[^0-9\s.,:'+\-|\"][^|\"]*")
_PLAIN = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")


class Shown(NamedTuple):
    """One value as shown: its text; a number with its digits after the point, or None."""

    text: str
    number: Fraction | None = None
    places: int = 0


class PanelValue(NamedTuple):
    """One value to search for; `shown` has an entry for each copy, None if not seen."""

    name: str
    line: int
    unit: str | None
    shown: tuple[Shown | None, ...]

    @property
    def seen(self) -> tuple[int, ...]:
        """Return for which copies there is a value."""
        return tuple(index for index, value in enumerate(self.shown) if value is not None)

    @property
    def changed(self) -> bool:
        """Return whether the value is not the same in all copies."""
        return len({value.text for value in self.shown if value is not None}) > 1


class Values(NamedTuple):
    """The values of a file, and notes on numbers that were interpreted."""

    panel_values: tuple[PanelValue, ...]
    notes: tuple[str, ...]


def parse(data: bytes, copies: int) -> Values:
    """Return the values of a file for so many copies.

    Raise ParambakError, `layout-find-…`, with the line of the first mistake.
    """
    if copies > MOST_COPIES:
        raise faults.TOO_MANY_COPIES.error(
            expected=f"at most {MOST_COPIES} copies", found=f"{copies} copies"
        )
    values: list[PanelValue] = []
    notes: list[str] = []
    taken: dict[str, int] = {}
    for number, text in _lines(data):
        panel_value = _wanted(text, number, copies, notes)
        key = folded(panel_value.name)
        if key in taken:
            raise faults.VALUES_TWICE.error(
                line=number,
                expected="a new name",
                found=f"{panel_value.name}, as in line {taken[key]}",
            )
        taken[key] = number
        values.append(panel_value)
        if len(values) > MOST_VALUES:
            raise faults.VALUES_TOO_LARGE.error(
                line=number, expected=f"at most {MOST_VALUES} values", found="more"
            )
    if not values:
        raise faults.VALUES_NONE.error(expected="at least one line `name = value`", found="none")
    return Values(tuple(values), tuple(notes))


def _lines(data: bytes) -> list[tuple[int, str]]:
    """Return each line that is neither blank nor a comment, with its number from 1."""
    if len(data) > MOST_BYTES:
        raise faults.VALUES_TOO_LARGE.error(
            expected=f"at most {MOST_BYTES} bytes", found=f"{len(data)} bytes"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise faults.VALUES_NOT_UTF8.error(
            line=data.count(b"\n", 0, error.start) + 1,
            expected="UTF-8",
            found=f"byte {data[error.start]:02X}",
        ) from error
    kept = []
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        if hidden(line.replace("\t", " ")):
            raise faults.VALUES_HIDDEN.error(
                line=number, expected="visible characters", found=ascii(line[:60])
            )
        bare = _without_comment(line.replace("\t", " ")).strip()
        if bare:
            kept.append((number, bare))
    return kept


def _without_comment(line: str) -> str:
    """Return the line up to a `#` outside quotation marks."""
    quoted = False
    for index, letter in enumerate(line):
        if letter == '"':
            quoted = not quoted
        elif letter == "#" and not quoted:
            return line[:index]
    return line


def _wanted(line: str, number: int, copies: int, notes: list[str]) -> PanelValue:
    name, equals, rest = line.partition("=")
    name = name.strip()
    if not equals or not name or len(name) > MOST_NAME or not rest.strip():
        raise faults.VALUES_SHAPE.error(
            line=number,
            expected=f"`name = value`, the name of at most {MOST_NAME} characters",
            found=ascii(line[:60]),
        )
    parts = _parts(rest)
    if len(parts) not in {1, copies}:
        expected = "1 value" if copies == 1 else f"1 value or {copies}"
        raise faults.VALUES_COUNT.error(line=number, expected=expected, found=f"{len(parts)}")
    read = [_value(part, number, notes) for part in parts]
    seen = [part for part in read if part is not None]
    if not seen:
        raise faults.VALUES_COUNT.error(
            line=number, expected="at least one value that was seen", found="none"
        )
    units = list(dict.fromkeys(unit for _, unit in seen if unit))
    if len({shown.number is None for shown, _ in seen}) > 1 or len(units) > 1:
        raise faults.VALUES_KIND.error(
            line=number, expected="one kind, one unit", found=ascii(rest.strip()[:60])
        )
    shown = tuple(part[0] if part else None for part in read)
    for_copies = shown * copies if len(shown) == 1 else shown
    return PanelValue(name, number, units[0] if units else None, for_copies)


def _parts(rest: str) -> list[str]:
    """Return the parts between the `|` outside quotation marks."""
    parts, quoted = [""], False
    for letter in rest:
        if letter == '"':
            quoted = not quoted
        if letter == "|" and not quoted:
            parts.append("")
        else:
            parts[-1] += letter
    return [part.strip() for part in parts]


def _value(part: str, line: int, notes: list[str]) -> tuple[Shown, str | None] | None:
    """Return a value and its unit; None for one not seen."""
    if part == UNSEEN:
        return None
    if part.startswith('"') and part.endswith('"') and len(part) > 2 and '"' not in part[1:-1]:
        return _text(part[1:-1], line), None
    plain = part.translate(_MINUS)
    match = _NUMBER.fullmatch(plain)
    if match and (not match["unit"] or _UNIT.fullmatch(match["unit"])):
        if len(match["unit"]) > MOST_UNIT:
            raise faults.VALUES_SHAPE.error(
                line=line, expected=f"a unit of at most {MOST_UNIT} characters", found="more"
            )
        return _number(match["number"], line, notes), match["unit"].strip() or None
    if not part or '"' in part:
        raise faults.VALUES_SHAPE.error(line=line, expected="a value", found=ascii(part[:60]))
    return _text(part, line), None


def _text(text: str, line: int) -> Shown:
    if len(text) > MOST_TEXT:
        raise faults.VALUES_SHAPE.error(
            line=line, expected=f"a text of at most {MOST_TEXT} characters", found=f"{len(text)}"
        )
    return Shown(text)


def _number(written: str, line: int, notes: list[str]) -> Shown:
    if "x" in written.lower():
        if len(written) > MOST_DIGITS:
            raise _unclear(written, line)
        value = int(written, 16)
        notes.append(f"line {line}: {written} taken as the number {value}")
        return Shown(str(value), Fraction(value))
    text = written
    if text.count(",") == 1 and "." not in text and not text.endswith(","):
        text = text.replace(",", ".")
        notes.append(f"line {line}: {written} taken as {text}")
    if not _PLAIN.fullmatch(text) or len(text) > MOST_DIGITS:
        raise _unclear(written, line)
    text = text.removeprefix("+")
    return Shown(text, Fraction(text), len(text.partition(".")[2]))


def _unclear(written: str, line: int) -> ParambakError:
    return faults.VALUES_NUMBER.error(
        line=line,
        expected=f"at most {MOST_DIGITS} digits, with one point or comma",
        found=ascii(written[:60]),
    )
