"""A number with its noun, as people write it."""

from __future__ import annotations


def counted(number: int, noun: str, many: str | None = None) -> str:
    """Return "1 byte", "2 bytes"; `many` is the plural where it is more than an s."""
    return f"{number} {noun}" if number == 1 else f"{number} {many or noun + 's'}"
