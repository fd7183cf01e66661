"""What people type and a record holds: texts, dates, short names, IMO numbers.

Texts are bounded, and readable in thirty years; names that are nearly the same are refused.

IMO ship identification number scheme (number of its resolution from memory: A.1117(30)):
the first six digits times 7, 6, 5, 4, 3, 2, added; the last digit of the sum is the
seventh digit. Ships sail with numbers that fail this check, and a wrong number can pass it: it
warns and never refuses.
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
FEWEST_LETTERS = 4  # of names that are compared letter by letter
_HOUR = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")
_SAME_LOOK = str.maketrans("oil", "011")  # letters that look like a digit
# Not printable by Unicode, and harmless: line feed, tab, spaces that do not break, and the
# joiners that some scripts are written with.
_HARMLESS = frozenset("\n\t\u00a0\u202f\u3000\u200c\u200d")
_SHORT = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,38}[A-Za-z0-9])?\Z")
_SEVEN = re.compile(r"[ \t]*(?:IMO[ \t]*)?([0-9]{7})[ \t]*", re.IGNORECASE)
TEXT_LENGTH = Fault(
    "text-length",
    CallRefused,
    "the {what} is too long",
    "Shorten it. Keep a longer document as a separate file.",
)
TEXT_CHARACTER = Fault(
    "text-character",
    CallRefused,
    "the {what} has a character that cannot be shown",
    "Type it again without control characters or marks that change the writing direction.",
)
DAY = Fault("correct-date", CallRefused, "that is not a date", "Write the day as 2026-03-01.")
SHORT_NAME = Fault(
    "name-shape",
    CallRefused,
    "that is not a short name for a {what}",
    "Use letters, digits, hyphens and dots, at most 40. `correct --display-name` takes any text.",
)
VESSEL_NEAR = Fault(
    "name-vessel-near",
    CallRefused,
    "a vessel with almost that name is in the vault already",
    "Type the name as shown in the vault, or give --new-vessel if this is another ship.",
)
NAME_NEAR = Fault(
    "name-near",
    CallRefused,
    "a {what} with that name is in the vault already, with other case or punctuation",
    "Type the name as shown in the vault.",
)
NAME_ALMOST = Fault(
    "name-almost",
    CallRefused,
    "a {what} with almost that name is on record already",
    "Type the name as shown in the vault, or give --new-{what} if this is another {what}.",
)
IMO_SHAPE = Fault(
    "imo-shape",
    CallRefused,
    "that is not an IMO number",
    "Give the seven digits as on the ship's certificate, or leave the number out. A hull or "
    "official number goes with --other-number.",
)


def check_texts(texts: Iterable[tuple[str, str | None, int]]) -> None:
    """Raise CallRefused for the first text that a record must not hold.

    Each text comes with its name before it and its most characters after it; None is skipped.
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
    """Return the ISO date; raise CallRefused if it is not a date."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise DAY.error(expected="a day such as 2026-03-01", found=repr(text[:40])) from error


def check_moment(text: str) -> tuple[str, str | None]:
    """Return the day of a text, and the hour if it has one, such as 2026-03-01 14:30."""
    typed, _, hour = text.strip().replace("T", " ", 1).partition(" ")
    day = check_date(typed)
    if not hour:
        return day, None
    if not _HOUR.fullmatch(hour):
        raise DAY.error(expected="an hour such as 14:30", found=repr(hour[:40]))
    return day, hour


def kept_name(name: str) -> str:
    """Return a file's name as a record holds it: what no text can hold becomes an escape."""
    return printable(name)[:NAME]


def check_short(name: str, what: str) -> str:
    """Return the name; raise CallRefused if it is not a short name."""
    if not _SHORT.match(name):
        raise SHORT_NAME.error(
            what=what, expected="letters, digits, hyphens and dots", found=repr(name[:80])
        )
    return name


def bare(name: str) -> str:
    """Return the name without case and punctuation."""
    return re.sub(r"[^a-z0-9]", "", name.casefold())


def refuse_near_vessel(name: str, names: Iterable[str]) -> None:
    """Raise CallRefused if a vessel's name differs by one letter, or by case and punctuation."""
    for taken in names:
        if bare(taken) == bare(name) or one_letter_apart(name.casefold(), taken.casefold()):
            raise VESSEL_NEAR.error(expected=taken, found=name)


def refuse_near(name: str, names: Iterable[str], what: str) -> None:
    """Raise CallRefused if a name differs by case and punctuation alone."""
    for taken in names:
        if bare(taken) == bare(name):
            raise NAME_NEAR.error(what=what, expected=taken, found=name)


def refuse_almost(name: str, names: Iterable[str], what: str) -> None:
    """Raise CallRefused if a name is almost one of these, so that it may be a slip.

    Names that only number their things differ in a digit, or in a part that is one letter: U12
    and U13, pump-a and pump-b are two names.
    """
    for taken in names:
        if _almost(name.casefold(), taken.casefold()):
            raise NAME_ALMOST.error(what=what, expected=taken, found=name)


def _almost(name: str, taken: str) -> bool:
    if bare(name).translate(_SAME_LOOK) == bare(taken).translate(_SAME_LOOK):
        return True
    parts = [re.split(r"[.-]", text) for text in (name, taken)]
    differing = [pair for pair in zip(*parts, strict=False) if pair[0] != pair[1]]
    if len(parts[0]) == len(parts[1]) and all(len(a) == len(b) == 1 for a, b in differing):
        return False
    letters = [re.sub(r"[^a-z]", "", text) for text in (name, taken)]
    digits = [re.sub(r"[^0-9]", "", text) for text in (name, taken)]
    few = min(map(len, letters)) < FEWEST_LETTERS
    return not few and digits[0] == digits[1] and one_letter_apart(name, taken)


def imo_digit_right(number: str) -> bool:
    """Return whether the last of seven digits is the check digit of the other six."""
    weighted = zip(number[:6], range(7, 1, -1), strict=True)
    return sum(int(digit) * weight for digit, weight in weighted) % 10 == int(number[6])


def read_imo(text: str) -> tuple[str, tuple[Finding, ...]]:
    """Return the seven digits of `IMO 1234567` or `1234567`, and warnings.

    Raises CallRefused if it is not seven digits. A wrong check digit is a finding.
    """
    match = _SEVEN.fullmatch(text)
    if match is None:
        raise IMO_SHAPE.error(expected="seven digits, with or without IMO", found=repr(text[:40]))
    number = match[1]
    if imo_digit_right(number):
        return number, ()
    warning = (
        f"IMO number {number}: its last digit does not fit the other six. Compare it with the "
        "ship's certificate. It is kept as given: some ships carry such a number. A right last "
        "digit does not prove the right ship."
    )
    return number, (Finding("imo-check-digit", warning),)
