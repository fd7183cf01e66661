"""Whether a unit's own start-up wrote over the parameters that were loaded: named, not guessed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from parambak.compare.bytes import Run
    from parambak.memory.image import Image

FEWEST = 4  # differing bytes from which another memory's bytes are no chance


def start_up(
    read: Image,
    differences: Sequence[Run],
    *,
    held_before: bool,
    others: Mapping[str, Image],
) -> str | None:
    """Return in words that start-up wrote what differs after power; None where nothing says so.

    `differences` are the runs that may not differ. `held_before` tells that before power
    the card was read back as loaded correctly. `others` are memories known by name, such
    as what a spare card held when it came.
    """
    count = sum(run.length for run in differences)
    if not count:
        return None
    if count >= FEWEST:
        for name, other in others.items():
            if all(_same(read, other, run) for run in differences):
                return (
                    f"all {counted(count, 'byte')} that differ are now as in {name}: the unit's "
                    "own start-up wrote those parameters over the ones that were loaded"
                )
    if held_before:
        return (
            f"before power the card held the copy, and {counted(count, 'byte')} changed since: the "
            "unit's own start-up wrote them, as it does where it finds its parameters unfit and "
            "takes its defaults. The loading was not at fault"
        )
    return None


def _same(read: Image, other: Image, run: Run) -> bool:
    start, length = run.start, run.length
    there = other.read(start, length)
    return there is not None and there == read.read(start, length)
