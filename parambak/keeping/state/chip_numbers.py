"""Which chip each read of a position is of, as the records show it.

A chip is new where a swap that loads a new card has ended, or where a person states it with a
read (`new_chip`). A read-back of a loaded card is of the new chip.
"""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING, NamedTuple

from msgspec.structs import replace

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.bodies import ImageEntry
    from parambak.keeping.state.model import Read
    from parambak.keeping.state.record_sets import VesselRecords

LOAD, ABANDONED = "load", "abandoned"


class Exchanges(NamedTuple):
    """How the chip of a position was exchanged, or was to be written, by the order of the records.

    `ends` are the ends of swaps that loaded a new card; `loaded` gives for each read-back of one
    of them its end. `released` are the files for loading: order and image.
    """

    ends: tuple[int, ...]
    loaded: dict[str, int]
    released: tuple[tuple[int, ImageEntry], ...]


def exchanges_at(ship: VesselRecords, position: frozenset[str]) -> Exchanges:
    """Return the exchanges of the chip of a position."""
    swaps = {
        identity: body
        for records in ship.record_sets
        for identity, body in records.swaps.items()
        if body.position in position and body.route == LOAD
    }
    ends: list[int] = []
    loaded: dict[str, int] = {}
    for records in ship.record_sets:
        for record, body in records.ended:
            if body.swap in swaps and body.outcome != ABANDONED:
                ends.append(ship.order(record))
                loaded |= dict.fromkeys(body.taken_in, ends[-1])
    released = [
        (ship.order(record), body.image)
        for records in ship.record_sets
        for record, body in records.released
        if body.position in position
    ]
    in_order = sorted(released, key=lambda release: release[0])
    return Exchanges(tuple(sorted(ends)), loaded, tuple(in_order))


def numbered(reads: Sequence[Read], exchanges: Exchanges) -> list[Read]:
    """Return the reads, oldest first, each with the number of its chip, and whether it was loaded.

    A dump that was archived between the release of a file and the end of the swap, and holds the
    released image, is taken as a read of the loaded card.
    """
    new_chips = 0
    calls: set[str] = set()
    made = []
    for read in reads:
        if read.facts.new_chip and read.call not in calls:
            calls.add(read.call)
            new_chips += 1
        end = exchanges.loaded.get(read.record, _end_of_load(read, exchanges))
        order = read.order if end is None else end + 1
        chip = bisect_left(exchanges.ends, order) + new_chips
        made.append(replace(read, chip=chip, loaded=end is not None))
    return made


def _end_of_load(read: Read, exchanges: Exchanges) -> int | None:
    """Return the end of the swap in which a dump of the released image was archived, or None."""
    at = bisect_left(exchanges.ends, read.order)
    if at == len(exchanges.ends):
        return None
    begun = exchanges.ends[at - 1] if at else -1
    released = any(
        begun < order < read.order and image == read.image for order, image in exchanges.released
    )
    return exchanges.ends[at] if released else None
