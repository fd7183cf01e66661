"""What people type freely and a record keeps: bounded, and readable in thirty years."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterable

NAME = 200  # characters: a person, a reader, a type
REMARK = 4000  # characters

TEXT_LENGTH = Fault(
    "text-length",
    CallRefused,
    "the {what} is too long",
    "Shorten it; a longer document is better kept as a file of its own.",
)
TEXT_CHARACTER = Fault(
    "text-character",
    CallRefused,
    "the {what} holds a character that cannot be shown",
    "Type it again without control characters or marks that turn the direction of writing.",
)
DAY = Fault("amend-date", CallRefused, "that is no date", "Write the day as 2026-03-01.")
# Not printable by Unicode, and harmless: line feed, tab, spaces that do not break, and the
# joiners that some scripts are written with.
_HARMLESS = frozenset("\n\t\u00a0\u202f\u3000\u200c\u200d")


def check_texts(texts: Iterable[tuple[str, str | None, int]]) -> None:
    """Raise CallRefused for the first text that a record should not keep.

    Each is what it is, the text (None where there is none), and its most characters.
    """
    for what, text, most in texts:
        if text is None:
            continue
        if len(text) > most:
            raise TEXT_LENGTH.error(
                what=what, expected=f"at most {most} characters", found=f"{len(text)} characters"
            )
        for at, character in enumerate(text):
            if not character.isprintable() and character not in _HARMLESS:
                raise TEXT_CHARACTER.error(
                    what=what,
                    expected="letters, digits, marks and spaces",
                    found=f"U+{ord(character):04X}, character {at + 1}",
                )


def check_date(text: str) -> str:
    """Return the ISO date; raise CallRefused where it is none."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise DAY.error(expected="a day such as 2026-03-01", found=repr(text[:40])) from error


def kept_name(name: str) -> str:
    """Return a file's name as a record keeps it: what no text can hold written as an escape."""
    return printable(name)[:NAME]
