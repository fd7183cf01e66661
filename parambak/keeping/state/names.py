"""Short names: their shape, and names too near each other to be let pass unasked."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.memory.names import one_letter_apart

if TYPE_CHECKING:
    from collections.abc import Iterable

_SHORT = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9.-]{0,38}[A-Za-z0-9])?\Z")

SHORT_NAME = Fault(
    "name-shape",
    CallRefused,
    "that is no short name for a {what}",
    "Use letters, digits, hyphens and dots, at most 40; `amend` sets a display name of any text.",
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


def refuse_near_vessel(name: str, known: Iterable[str]) -> None:
    """Raise CallRefused where a known vessel's name is one letter, or case and marks, away."""
    for other in known:
        if bare(other) == bare(name) or one_letter_apart(name.casefold(), other.casefold()):
            raise VESSEL_NEAR.error(expected=other, found=name)


def refuse_near(name: str, known: Iterable[str], what: str) -> None:
    """Raise CallRefused where a known name differs by case and punctuation alone."""
    for other in known:
        if bare(other) == bare(name):
            raise NAME_NEAR.error(what=what, expected=other, found=name)
