"""Text with its padding, and dates and clocks kept as parts."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Literal

from parambak.memory.printable import hidden

if TYPE_CHECKING:
    from collections.abc import Sequence


def _units(encoding: str) -> int:
    return 2 if encoding.startswith("utf-16") else 1


def _pads(encoding: str, padding: str, blank: int) -> list[bytes]:
    """Return each padding unit, as bytes, that may be at the end."""
    unit = _units(encoding)
    order: Literal["little", "big"] = "little" if encoding.endswith("le") else "big"
    space, zero = (value.to_bytes(unit, order) for value in (0x20, 0))
    empty = bytes([blank]) * unit
    return {
        "any": [zero, empty, space],
        "space": [space],
        "zero": [zero],
        "blank": [empty],
        "after-zero": [zero],
        "none": [],
    }[padding]


def read_text(raw: bytes, encoding: str, padding: str, blank: int) -> tuple[str | None, str | None]:
    """Return the text without its padding, or None and the mark for what is wrong."""
    unit = _units(encoding)
    pads = _pads(encoding, padding, blank)
    units = [raw[index : index + unit] for index in range(0, len(raw), unit)]
    if padding == "after-zero" and pads[0] in units:
        units = units[: units.index(pads[0])]
    while padding != "after-zero" and units and units[-1] in pads:
        units.pop()
    try:
        text = b"".join(units).decode(encoding)
    except UnicodeDecodeError:
        return None, f"not {encoding} text"
    return (None, "control characters in the text") if hidden(text) else (text, None)


def write_text(text: str, length: int, encoding: str, padding: str, blank: int) -> bytes | None:
    """Return the text padded to `length` bytes, or None if it does not fit."""
    try:
        made = text.encode(encoding)
    except UnicodeEncodeError:
        return None
    pads = _pads(encoding, padding, blank)
    missing = length - len(made)
    if missing < 0 or (missing and not pads):
        return None
    return made + (pads[0] * (missing // len(pads[0])) if pads else b"")


def _digits(value: int, *, binary: bool) -> int | None:
    if binary:
        return value
    high, low = value >> 4, value & 0xF
    return high * 10 + low if high < 10 and low < 10 else None


_TIMES = {"hour": 23, "minute": 59, "second": 59}


def read_moment(
    raw: bytes, parts: Sequence[str], century: int, *, binary: bool
) -> tuple[str | None, str | None]:
    """Return "2031-04-05", "06:07:08" or both, or None and the mark for what is wrong.

    A part "weekday" or "skip" is not read.
    """
    values: dict[str, int] = {}
    for part, stored in zip(parts, raw, strict=True):
        if part in {"weekday", "skip"}:
            continue
        digits = _digits(stored, binary=binary)
        if digits is None:
            return None, "not BCD"
        values[part] = digits
    shown = []
    if "year" in values:
        try:
            shown.append(date(values["year"] + century, values["month"], values["day"]).isoformat())
        except ValueError:
            return None, "no such date"
    if "hour" in values:
        if any(values.get(part, 0) > most for part, most in _TIMES.items()):
            return None, "no such time"
        shown.append(":".join(f"{values[part]:02d}" for part in _TIMES if part in values))
    return " ".join(shown), None


def write_moment(text: str, parts: Sequence[str], century: int, *, binary: bool) -> bytes | None:
    """Return the parts of "2031-04-05 06:07:08" as bytes; parts not read as 00."""
    values: dict[str, int] = {}
    for piece in text.split():
        names = ("year", "month", "day") if "-" in piece else ("hour", "minute", "second")
        numbers = piece.replace(":", "-").split("-")
        if not all(number.isdecimal() for number in numbers):
            return None
        values.update(zip(names, map(int, numbers), strict=False))
    values["year"] = values.get("year", century) - century
    made = []
    for part in parts:
        value = values.get(part, 0)
        if not 0 <= value <= (255 if binary else 99):
            return None
        made.append(value if binary else value // 10 * 16 + value % 10)
    return bytes(made)
