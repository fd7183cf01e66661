"""What people type and a record keeps: texts, dates, short names, IMO numbers.

Texts are bounded, and readable in thirty years; names too near each other are refused.

IMO ship identification number scheme (number of its resolution from memory: A.1117(30)):
the first six digits times 7, 6, 5, 4, 3, 2, added; the last digit of the sum is the
seventh digit. Ships sail with numbers that fail it, and a wrong number can pass it, so
it warns and never refuses.
"""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.memory.findings import Finding
from parambak.memory.names import one_letter_apart
from parambak.memory.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterable

NAME = 200  # characters: a person, a reader, a type
REMARK = 4000  # characters
# Not printable by Unicode, and harmless: line feed, tab, spaces that do not break, and the
# joiners that some scripts are written with.
_HARMLESS = frozenset("\n\t\u00a0\u202f\u3000\u200c\u200d")
_SHORT = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,38}[A-Za-z0-9])?\Z")
_SEVEN = re.compile(r"[ \t]*(?:IMO[ \t]*)?([0-9]{7})[ \t]*", re.IGNORECASE)
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
DAY = Fault("correct-date", CallRefused, "that is no date", "Write the day as 2026-03-01.")
SHORT_NAME = Fault(
    "name-shape",
    CallRefused,
    "that is no short name for a {what}",
    "Use letters, digits, hyphens and dots, at most 40; `correct` sets a display name of any text.",
)
VESSEL_NEAR = Fault(
    "name-vessel-near",
    CallRefused,
    "a vessel of almost that name is in the vault already",
    "Type the name as it stands, or give --new-vessel if this is another ship.",
)
NAME_NEAR = Fault(
    "name-near",
    CallRefused,
    "a {what} of that name, but for case or punctuation, is in the vault already",
    "Type the name as it stands in the vault.",
)
IMO_SHAPE = Fault(
    "imo-shape",
    CallRefused,
    "that is no IMO number",
    "Give the seven digits as on the ship's certificate, or leave the number out: "
    "a hull or official number can stand in its place.",
)


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


def check_short(name: str, what: str) -> str:
    """Return the name; raise CallRefused where it is no short name."""
    if not _SHORT.match(name):
        raise SHORT_NAME.error(
            what=what, expected="letters, digits, hyphens and dots", found=repr(name[:80])
        )
    return name


def bare(name: str) -> str:
    """Return the name without case and punctuation."""
    return re.sub(r"[^a-z0-9]", "", name.casefold())


def refuse_near_vessel(name: str, names: Iterable[str]) -> None:
    """Raise CallRefused where a known vessel's name is one letter, or case and marks, away."""
    for other in names:
        if bare(other) == bare(name) or one_letter_apart(name.casefold(), other.casefold()):
            raise VESSEL_NEAR.error(expected=other, found=name)


def refuse_near(name: str, names: Iterable[str], what: str) -> None:
    """Raise CallRefused where a known name differs by case and punctuation alone."""
    for other in names:
        if bare(other) == bare(name):
            raise NAME_NEAR.error(what=what, expected=other, found=name)


def imo_digit_right(number: str) -> bool:
    """Tell whether the last of seven digits is the one that the other six ask for."""
    weighted = zip(number[:6], range(7, 1, -1), strict=True)
    return sum(int(digit) * weight for digit, weight in weighted) % 10 == int(number[6])


def read_imo(text: str) -> tuple[str, tuple[Finding, ...]]:
    """Return the seven digits of `IMO 1234567` or `1234567`, and what there is to warn of.

    Raises CallRefused where it is not seven digits. A wrong check digit is a finding.
    """
    match = _SEVEN.fullmatch(text)
    if match is None:
        raise IMO_SHAPE.error(expected="seven digits, with or without IMO", found=repr(text[:40]))
    number = match[1]
    if imo_digit_right(number):
        return number, ()
    warning = (
        f"IMO number {number}: its last digit is not the one that the others ask for. "
        "Compare it with the ship's certificate. It is kept as given: some ships carry such a "
        "number, and a right last digit does not prove the right ship either."
    )
    return number, (Finding("imo-check-digit", warning),)
