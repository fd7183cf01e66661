"""The text of a layout file to a tree of plain values, hostile text refused."""

from __future__ import annotations

import re
import tomllib
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from parambak.layouts import faults
from parambak.layouts.mistakes import Source, describe

if TYPE_CHECKING:
    from parambak.errors import ParambakError

LONGEST_TEXT = 2 * 1024 * 1024
LONGEST_NUMBER = 40  # digits; the widest check value has 39
LONGEST_KEY = 64  # parts; the parser takes the square of their number

_PART = r"""(?:(?<![\w-])[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*"""
_DEEP_KEY = re.compile(f"(?:{_PART}){{{LONGEST_KEY}}}")
_LONG_NUMBER = re.compile(r"(?:0x|[0-9])[0-9A-Fa-f_]{60}")
# Longer than any text of the language may be, so it need not be checked for quotes.
_ENDLESS_NUMBER = re.compile(r"[0-9][0-9A-Fa-f_]{4000}")
_AT_LINE = re.compile(r" \(at line (\d+), column \d+\)$| \(at end of document\)$")
_TWICE = ("Cannot overwrite", "Cannot declare", "Cannot mutate", "Duplicate inline table key")


class _NumberTooLongError(Exception):
    pass


def _number(text: str) -> Decimal:
    if len(text) > LONGEST_NUMBER + 10:
        raise _NumberTooLongError
    try:
        return Decimal(text.replace("_", ""))
    except InvalidOperation:  # an exponent beyond reason
        return Decimal("NaN")


def _line_of_offset(data: bytes | str, offset: int) -> int:
    newline: Any = b"\n" if isinstance(data, bytes) else "\n"
    return data.count(newline, 0, offset) + 1


def parse(data: bytes, file: str | None) -> Source:
    """Return the parsed file; raise LayoutRefused if it cannot be parsed."""
    text = _text(data)
    deep = _DEEP_KEY.search(text)
    if deep is not None:
        line = _line_of_offset(text, deep.start())
        raise faults.TOO_DEEP.error(line=line, found="a key of many parts")
    if _ENDLESS_NUMBER.search(text) is not None:  # the parser takes 100 bytes a digit
        raise _too_long(text)
    try:
        tree = tomllib.loads(text, parse_float=_number)
    except tomllib.TOMLDecodeError as error:
        raise _syntax(str(error), text) from None
    except RecursionError:
        line, brackets = _deepest_line(text)
        found = f"opening brackets in this line: {brackets}"
        expected = "a few brackets inside brackets"
        raise faults.TOO_DEEP.error(line=line, expected=expected, found=found) from None
    except (ValueError, _NumberTooLongError):
        raise _too_long(text) from None
    if _LONG_NUMBER.search(text) and _has_long(tree):
        raise _too_long(text)
    return Source(file, text, tree)


def _text(data: bytes) -> str:
    if len(data) > LONGEST_TEXT:
        expected, found = f"at most {LONGEST_TEXT} bytes", f"{len(data)} bytes"
        raise faults.TOO_LARGE.error(expected=expected, found=found)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = _line_of_offset(data, error.start)
        found = f"byte {data[error.start]:02X} at offset {error.start}"
        raise faults.NOT_UTF8.error(line=line, expected="UTF-8", found=found) from None
    if text.startswith("\ufeff"):
        expected = "UTF-8 without a byte-order mark"
        raise faults.NOT_UTF8.error(line=1, expected=expected, found="a byte-order mark")
    if "\0" in text:
        line = _line_of_offset(text, text.index("\0"))
        raise faults.NUL.error(line=line, found="character 00")
    return text


def _syntax(message: str, text: str) -> ParambakError:
    # Only a file with a mistake needs it.
    from parambak.layouts.suggestions import syntax_advice  # noqa: PLC0415 - see above

    match = _AT_LINE.search(message)
    reason = message[: match.start()] if match else message
    line = int(match.group(1)) if match and match.group(1) else text.count("\n") + 1
    fault = faults.KEY_TWICE if reason.startswith(_TWICE) else faults.SYNTAX
    line_text = text.split("\n")[line - 1].strip() if line <= text.count("\n") + 1 else ""
    return fault.error(
        line=line,
        found=describe(line_text),
        reason=describe(reason).strip('"'),
        advice=syntax_advice(line_text),
    )


def _too_long(text: str) -> ParambakError:
    match = _LONG_NUMBER.search(text)
    line = None if match is None else _line_of_offset(text, match.start())
    expected = f"at most {LONGEST_NUMBER} digits"
    return faults.NUMBER_TOO_LONG.error(line=line, expected=expected, found="a longer number")


def _deepest_line(text: str) -> tuple[int, int]:
    """Return the line with most opening brackets, and how many."""
    counts = [line.count("[") + line.count("{") for line in text.split("\n")]
    return counts.index(max(counts)) + 1, max(counts)


def _has_long(tree: dict[str, Any]) -> bool:
    """Return whether the tree holds a whole number of more than 40 digits."""
    waiting: list[Any] = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, dict):
            waiting.extend(node.values())
        elif isinstance(node, list):
            waiting.extend(node)
        elif isinstance(node, int) and node.bit_length() > 132:
            return True
    return False
