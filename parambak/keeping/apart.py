"""Which reads were made apart, as far as a file system can tell.

Two good reads have equal content, so equality is no sign of a file given
twice. One file under two names, the same path with the same time, or two
files with the very same modification time count as one read; beyond that it
is the engineer's word.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.bodies import DumpEntry


class Pass(Protocol):
    """One pass of the reader: a read, or a dump read back from a loaded card."""

    @property
    def record(self) -> str:
        """The digest of its record."""

    @property
    def call(self) -> str:
        """What is common to the passes of one command."""

    @property
    def dumps(self) -> tuple[DumpEntry, ...]:
        """The files that it gave."""

    @property
    def untimed(self) -> bool:
        """Whether the files' times mean nothing."""


def made_apart(reads: Sequence[Pass]) -> int:
    """Return how many of the reads were made apart, at least 1 for any read at all."""
    groups: list[list[Pass]] = []
    for read in reads:
        same = [group for group in groups if any(_one_read(read, other) for other in group)]
        merged = [read, *(each for group in same for each in group)]
        groups = [group for group in groups if group not in same]
        groups.append(merged)
    return len(groups)


def _one_read(one: Pass, other: Pass) -> bool:
    """Tell whether two entries are one pass of the reader given twice."""
    if one.record == other.record:
        return True
    pairs = [(a, b) for a in one.dumps for b in other.dumps]
    if one.call == other.call and any(_same_file(a, b) for a, b in pairs):
        return True
    if one.untimed or other.untimed:
        return False
    return any(a.modified is not None and a.modified == b.modified for a, b in pairs)


def _same_file(one: DumpEntry, other: DumpEntry) -> bool:
    marks = (one.file_mark, other.file_mark), (one.path_mark, other.path_mark)
    return any(mine is not None and mine == theirs for mine, theirs in marks)
