"""Where the chip on record contradicts what else is known of a position's size."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parambak.keeping.assess import Assessor
    from parambak.keeping.chips import Chip
    from parambak.keeping.state.known import Position


def size_doubts(assessor: Assessor, position: Position, chip: Chip) -> tuple[str, ...]:
    """Say which of the layout and the latest copy are of another size than the chip.

    One of the two is wrong, and only a person can tell which: the chip may be the right
    one, and the layout or the read not.
    """
    doubts = []
    has = f"{chip.name} has {chip.size} bytes"
    layout = assessor.layout_of(position)
    if layout is not None and position.layout is not None and layout.memory != chip.size:
        doubts.append(
            f"{has}, and the layout on record here, {position.layout.name}, is for "
            f"{layout.memory}: nothing more can be archived here until one of them is mended. "
            "Give the right layout with `archive --layout`, or the right chip with `amend --chip`"
        )
    latest = position.latest
    if latest is not None:
        size = sum(length for _, length in latest.image.ranges)
        if size != chip.size:
            doubts.append(
                f"{has}, and the latest copy, {latest.sha256[:8]}, holds {size}: it is not "
                "verified as long as this chip is on record"
            )
    return tuple(doubts)
