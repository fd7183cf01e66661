"""Whether a dump is on record already: the same file given again is not another read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.errors import CallRefused, Fault
from parambak.keeping.verified import same_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from parambak.keeping.recording.received import Incoming
    from parambak.keeping.state.bodies import DumpEntry
    from parambak.keeping.state.model import Position, Read

ON_RECORD = Fault(
    "dump-on-record",
    CallRefused,
    "every dump is already on record, and nothing else of this call would be kept: {what}",
    "Attach a layout with `parambak layout attach`, and give a chip with `parambak correct`. If "
    "the chip was read again by a reader without a clock, give --no-file-times.",
)


def on_record(
    position: Position | None, dumps: Sequence[Incoming], *, untimed: bool
) -> tuple[str | int | None, ...]:
    """Return for each dump the record of the read that it is already.

    It is the number of an earlier one of the dumps if it is the same file as that, and None if it
    is new. Files are the same if their bytes are, and their times; in one call also if it is one
    place on the disk. Of a reader without a clock (`untimed`), times mean nothing.
    """
    reads = position.reads if position is not None else ()
    entries = [[file.entry for file in incoming.files] for incoming in dumps]
    states: list[str | int | None] = []
    for number, own in enumerate(entries):
        if any(_one_file(own, other) and not _one_time(own, other) for other in entries):
            states.append(None)  # changed while it was given: `separate_reads` links its files
            continue
        new = [before for before in range(number) if states[before] is None]
        earlier = [
            before
            for before in new
            if _same(own, entries[before], untimed=untimed) or _one_file(own, entries[before])
        ]
        states.append(earlier[0] if earlier else _recorded(reads, own, untimed=untimed))
    return tuple(states)


def _recorded(reads: Iterable[Read], entries: Sequence[DumpEntry], *, untimed: bool) -> str | None:
    for read in reads:
        times = untimed or read.untimed
        if not read.reconstructed_from and _same(entries, read.dumps, untimed=times):
            return read.record
    return None


def _same(first: Sequence[DumpEntry], second: Sequence[DumpEntry], *, untimed: bool) -> bool:
    """Return whether two reads are of files with the same bytes and the same times."""
    if [entry.sha256 for entry in first] != [entry.sha256 for entry in second]:
        return False
    return not untimed and _one_time(first, second)


def _one_time(first: Sequence[DumpEntry], second: Sequence[DumpEntry]) -> bool:
    times = [entry.modified for entry in first]
    return None not in times and times == [entry.modified for entry in second]


def _one_file(first: Sequence[DumpEntry], second: Sequence[DumpEntry]) -> bool:
    """Return whether two reads of one call are of the same places on the disk."""
    pairs = list(zip(first, second, strict=False))
    return len(first) == len(second) and all(same_file(a, b) for a, b in pairs)


def file_elsewhere(positions: Iterable[Position], entries: Sequence[DumpEntry]) -> Position | None:
    """Return the position of a read of the same files, None if there is none."""
    for position in positions:
        for read in position.reads:
            if not read.reconstructed_from and _same(entries, read.dumps, untimed=read.untimed):
                return position
    return None


def require_something_new(states: Sequence[str | int | None], given: Mapping[str, object]) -> None:
    """Raise if every dump is on record and the call gives something else, by its option."""
    options = [option for option, value in given.items() if value]
    if options and states and None not in states:
        listed = ", ".join(options)
        raise ON_RECORD.error(what=listed, expected="one new dump at least", found="none")
