"""A finding: something noted about a dump or an image that did not refuse it."""

from __future__ import annotations

from typing import NamedTuple


class Finding(NamedTuple):
    """What was noted: a stable code, a sentence for people, and where.

    `line` counts from 1; `offset` is a byte offset in the file or an address.
    """

    code: str
    text: str
    line: int | None = None
    offset: int | None = None
