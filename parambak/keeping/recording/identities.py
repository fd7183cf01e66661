"""Identities of what comes in with a record: drawn at random, given once."""

from __future__ import annotations

from uuid import uuid4


def new_identity() -> str:
    """Return 32 hexadecimal digits that nothing else bears."""
    return uuid4().hex
