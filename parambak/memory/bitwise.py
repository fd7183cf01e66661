"""Whole stretches of bytes combined bit by bit, in one step."""

from __future__ import annotations


def exclusive_or(one: bytes, other: bytes) -> bytes:
    """Return the exclusive or of two stretches of one length."""
    both = int.from_bytes(one, "little") ^ int.from_bytes(other, "little")
    return both.to_bytes(len(one), "little")
