"""A finding: a note about a dump or an image that is no refusal."""

from __future__ import annotations

from typing import NamedTuple


class Finding(NamedTuple):
    """A note: a stable code, a sentence for people, and where.

    `line` counts from 1; `offset` is a byte offset in the file or an address.
    """

    code: str
    text: str
    line: int | None = None
    offset: int | None = None
