"""Parameters that alternate and cells that fade, distinguished from changes by people.

A person, or the unit's own program, writes a whole value and renews the checks over it. A
memory cell that loses its charge changes one bit at a time, always in the same direction, and
no check is renewed. Both are judged from the reads alone; neither is proof.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

MOST_BITS = 2  # that fade in one value from one read to the next
FEWEST_TIMES = 2  # that bits changed in one direction; once alone proves little
NARROW = 8  # bits; a smaller value changes in one direction too often by chance
RETURNS = 2  # to a value that it had left
CROSSINGS = 3  # between the same two values


class Turn(NamedTuple):
    """One change of a value: its stored bytes before and after, and its checks.

    `guarded` is whether a check or a mirrored block covers the bytes, `renewed` whether one
    of those was renewed with the change and holds.
    """

    step: int
    old: bytes
    new: bytes
    guarded: bool
    renewed: bool


def alternates(values: Sequence[Hashable]) -> bool:
    """Return whether a value, given as it was from change to change, alternates.

    It returned twice to a value that it had left, or changed three times between the same two.
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

    `blank` is the value of an erased byte: cells that lose their charge change towards it.
    Between two changes that renewed a check, bits must have changed in one direction only, few
    at a time: twice; or once, a single bit towards the blank state, under a check.
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
    """Return the steps of changes that renewed no check, if they are a fading."""
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
