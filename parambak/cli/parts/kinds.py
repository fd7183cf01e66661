"""What each kind of change means, in the words that are under a table of changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.differences.fields import (
    ALTERNATES,
    CHECK,
    FADING,
    MOVED,
    PARAMETER,
    RUNNING,
    TOLERANCE,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from parambak.cli.screen import Screen

MEANINGS = {
    PARAMETER: "a value that people set",
    FADING: "bits that went one way, as in a cell that loses its charge",
    ALTERNATES: "set between the same values again and again",
    MOVED: "content that is now at another address",
    CHECK: "a value stored in the memory that proves other bytes",
    TOLERANCE: "moved by no more than the layout allows",
    RUNNING: "a counter or clock that runs by itself",
}


def kinds_explained(screen: Screen, kinds: Iterable[str]) -> None:
    """Print a line on each kind that the table above shows."""
    shown = set(kinds)
    screen.points(f"{kind}: {text}" for kind, text in MEANINGS.items() if kind in shown)
