"""Parameters that flip back and forth and cells that fade, apart from changes by people.

A person, or the unit's own program, writes a value whole, and renews the checks over it. A
memory cell that loses its charge changes one bit at a time, always the same way, and no
check knows of it. Both are judged by what was read alone; neither is proof.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

MOST_BITS = 2  # that fade in one value from one read to the next
FEWEST_TIMES = 2  # that bits went one way, where once alone proves little
NARROW = 8  # bits; a smaller value goes one way by itself too often
RETURNS = 2  # to a value that it had left: back and forth
CROSSINGS = 3  # between the same two values


class Turn(NamedTuple):
    """One change of a value: its stored bytes before and after, and what the checks say.

    `guarded` is whether a check or a second keeping stands over the bytes, `renewed`
    whether one of those was renewed with the change and holds.
    """

    step: int
    old: bytes
    new: bytes
    guarded: bool
    renewed: bool


def alternates(values: Sequence[Hashable]) -> bool:
    """Return whether a value goes back and forth, given as it was from change to change.

    That is: it came back twice to a value that it had left, or changed three times between
    the same two.
    """
    left: set[Hashable] = set()
    returns: Counter[Hashable] = Counter()
    crossings: Counter[frozenset[Hashable]] = Counter()
    for before, after in pairwise(values):
        left.add(before)
        returns[after] += after in left
        crossings[frozenset((before, after))] += 1
    often = max(returns.values(), default=0), max(crossings.values(), default=0)
    return often[0] >= RETURNS or often[1] >= CROSSINGS


def fading(turns: Sequence[Turn], blank: int) -> frozenset[int]:
    """Return the steps at which cells of one value faded, in the order of its changes.

    `blank` is what an erased byte reads: cells that lose their charge go there. Between two
    changes that a check went along with, bits must have gone one way only, few at a time:
    twice, or under a check once, a single bit, towards the blank state.
    """
    faded: set[int] = set()
    group: list[Turn] = []
    for turn in turns:
        if turn.renewed:
            faded |= _fading_steps(group, blank)
            group = []
        else:
            group.append(turn)
    return frozenset(faded | _fading_steps(group, blank))


def _fading_steps(group: Sequence[Turn], blank: int) -> set[int]:
    """Return the steps of changes that no check went along with, where they are a fading."""
    ways = [_bits(turn) for turn in group]
    gained, lost = sum(up for up, _ in ways), sum(down for _, down in ways)
    few = all(0 < up + down <= MOST_BITS for up, down in ways)
    if not group or not few or (gained and lost) or any(len(t.old) != len(t.new) for t in group):
        return set()
    guarded = all(turn.guarded for turn in group)
    times = len(group)
    wide = len(group[0].new) * 8 >= NARROW
    single = all(up + down == 1 for up, down in ways)
    if guarded:
        enough = times >= FEWEST_TIMES or (single and bool(gained) == (blank.bit_count() > 4))
    else:
        enough = wide and single and times >= FEWEST_TIMES
    return {turn.step for turn in group} if enough else set()


def _bits(turn: Turn) -> tuple[int, int]:
    """Return how many bits a change gained, and how many it lost."""
    before, after = int.from_bytes(turn.old, "big"), int.from_bytes(turn.new, "big")
    return (after & ~before).bit_count(), (before & ~after).bit_count()
