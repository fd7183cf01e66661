"""A number with its noun, and a list of alternatives, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


def counted(number: int, noun: str, many: str | None = None) -> str:
    """Return "1 byte", "2 bytes"; `many` is the plural if it is more than an s."""
    return f"{number} {noun}" if number == 1 else f"{number} {many or noun + 's'}"


def either(words: Sequence[str]) -> str:
    """Return "a", "a or b", "a, b or c" of one word or more."""
    *first_words, last = words
    return f"{', '.join(first_words)} or {last}" if first_words else last
