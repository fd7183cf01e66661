"""Names compared as people write them: without case, and the nearest of those that exist."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

LONGEST = 80
"""Characters of a name that are compared: nobody types more."""
FEW = 5


def folded(name: str) -> str:
    """Return a name as it is compared: NFKC, without case."""
    return unicodedata.normalize("NFKC", name).casefold()


def nearest(name: str, names: Iterable[str], most: int = 3) -> list[str]:
    """Return those of `names` that are most similar to `name`, the nearest first; may be none."""
    from difflib import get_close_matches  # noqa: PLC0415 - only for a message

    by_folded = {key.casefold(): key for key in names}
    close = get_close_matches(name.casefold()[:LONGEST], by_folded, n=most, cutoff=0.5)
    return [by_folded[key] for key in close]


def nearest_in_words(name: str, names: Iterable[str]) -> str:
    """Return the nearest names for a message, joined by "or"; the first five if none is near."""
    names = list(names)
    return " or ".join(nearest(name, names) or names[:FEW])


def one_letter_apart(first: str, second: str) -> bool:
    """Return whether one letter added, left out, changed, or two exchanged make them equal."""
    if first == second:
        return True
    if abs(len(first) - len(second)) > 1:
        return False
    shorter, longer = sorted((first, second), key=len)
    at = next((i for i, (a, b) in enumerate(zip(shorter, longer, strict=False)) if a != b), None)
    if at is None:
        return True
    if len(shorter) < len(longer):
        return shorter[at:] == longer[at + 1 :]
    exchanged = shorter[at + 1 : at + 2] + shorter[at : at + 1] + shorter[at + 2 :]
    return shorter[at + 1 :] == longer[at + 1 :] or exchanged == longer[at:]
