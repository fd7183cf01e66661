"""Content that was moved: shifted, its words' bytes swapped, its halves exchanged.

A stretch was moved if a move explains nine in ten of its changed bytes, sixteen at least, with
several values: thousands of changed bytes are then one fact.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from parambak.layouts.coverage import joined
from parambak.memory import relations
from parambak.memory.counted import counted
from parambak.memory.image import Block, Image, Range
from parambak.memory.relations import exclusive_or

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from parambak.differences.bytes import Run

FEWEST = 16  # changed bytes that a move must explain at least
TELLING = 4  # values that the changed bytes must have at least
REST = 10  # it is a move if less than one changed byte in so many is left
APART = (4096, 256, 32, 4)  # unchanged bytes that part two stretches: the widest view first
SPARSE = 8  # nothing was moved if less than one byte in so many changed
SHORT = 4  # a shift is at most a quarter of its stretch
ROUND = 8  # a part of the memory is examined if one part in so many of it changed
MOST_RUNS = 200_000
_DIFFERING = re.compile(rb"[^\x00]+")
_SAMPLE = 4096
_SOME = 512
_SMALLEST = 32
_BESIDE = 32  # runs on either side that are tried
_LONGEST = 1 << 24

WORDS = {
    relations.SWAPPED_16: "the two bytes of every 16-bit word are swapped",
    relations.SWAPPED_32: "the four bytes of every 32-bit word are reversed",
    relations.WORDS_SWAPPED: "the two 16-bit words of every 32 bits are exchanged",
    relations.EXCHANGED: "its two halves are exchanged",
}

_TURNS: dict[str, Callable[[bytes], bytes]] = {
    relations.SWAPPED_16: lambda data: relations.swapped(data, 2),
    relations.SWAPPED_32: lambda data: relations.swapped(data, 4),
    relations.WORDS_SWAPPED: lambda data: relations.swapped(data, 4, 2),
    relations.EXCHANGED: relations.exchanged,
}


class Move(NamedTuple):
    """A stretch whose content was moved: how, and what the move does not explain.

    `by` is how many bytes a shift moves it up (below 0: down); `changed` is how many
    changed bytes in it the move explains, `left` are those that it does not.
    """

    kind: str
    start: int
    length: int
    by: int
    changed: int
    left: tuple[Range, ...]

    @property
    def end(self) -> int:
        """Return the first address after the stretch."""
        return self.start + self.length

    @property
    def range(self) -> Range:
        """Return the stretch."""
        return Range(self.start, self.length)

    @property
    def words(self) -> str:
        """Return what happened to the stretch, in words."""
        if self.kind != relations.SHIFTED:
            return WORDS[self.kind]
        way = "up" if self.by > 0 else "down"
        return f"shifted {way} by {counted(abs(self.by), 'byte')}"


def moves_between(old: Image, new: Image, runs: Sequence[Run]) -> tuple[Move, ...]:
    """Return every stretch whose content was moved from one image to the other.

    `runs` are those in which the two differ.
    """
    both = [run for run in runs if len(run.old) == len(run.new)]
    moves: list[Move] = []
    for block in old.blocks:
        inside = _part(both, block.start, block.end)
        if len(inside) > MOST_RUNS:  # only all of it is examined
            move = _move(block, new, inside)
            moves += [move] if move is not None else []
            continue
        part = _round(block.start, block.end)
        halves = list(_halves(block, new, inside, part, max(_SMALLEST, part[1] // _SAMPLE)))
        for move in halves:
            inside = [run for run in inside if not move.start <= run.start < move.end]
        moves += halves
        if sum(run.length for run in inside) >= FEWEST:
            moves += _within(block, new, inside, _LONGEST, APART)
    return tuple(sorted((_trimmed(old, new, move) for move in moves), key=lambda move: move.start))


def undo_moves(old: Image, new: Image, moves: Sequence[Move]) -> Image:
    """Return the new image with the content put back at its old addresses.

    What a shift lost is taken from the old one, what it brought in is left out.
    """
    blocks = []
    for block in new.blocks:
        data = bytearray(block.data)
        for move in moves:
            was = old.read(move.start, move.length)
            if was is None or not block.start <= move.start < move.end <= block.end:
                continue
            span = slice(move.start - block.start, move.end - block.start)
            data[span] = _put_back(move, bytes(data[span]), was)
        blocks.append(Block(block.start, bytes(data)))
    return Image(tuple(blocks))


def _put_back(move: Move, now: bytes, was: bytes) -> bytes:
    if move.kind != relations.SHIFTED:
        return _TURNS[move.kind](now)  # done twice, each of these is undone
    if move.by > 0:
        return now[move.by :] + was[-move.by :]
    return was[: -move.by] + now[: move.by]


def _trimmed(old: Image, new: Image, move: Move) -> Move:
    """Return a shift from where it begins."""
    mine, theirs = old.read(move.start, move.length), new.read(move.start, move.length)
    if move.kind != relations.SHIFTED or mine is None or theirs is None:
        return move
    at = relations.first_difference(mine, theirs)
    return move._replace(start=move.start + at, length=move.length - at)


def _part(runs: Sequence[Run], start: int, end: int) -> Sequence[Run]:
    """Return the runs that begin in a stretch."""
    first = bisect_left(runs, start, key=lambda run: run.start)
    return runs[first : bisect_left(runs, end, key=lambda run: run.start)]


def _round(first: int, last: int) -> tuple[int, int]:
    """Return the smallest part of the memory, halved again and again, that holds a stretch."""
    size = _SMALLEST
    while first // size != (last - 1) // size:
        size *= 2
    return first // size * size, size


def _halves(
    block: Block, new: Image, runs: Sequence[Run], part: tuple[int, int], smallest: int
) -> Iterator[Move]:
    """Yield the parts of a memory, halved again and again, whose halves are exchanged."""
    start, size = part
    changed = sum(run.length for run in runs)
    if changed < FEWEST or size < smallest:
        return
    if block.start <= start and start + size <= block.end:
        move = _crossed_over(block, new, runs, part)
        if move is not None:
            yield move
            return
    size //= 2
    for half in (start, start + size):
        yield from _halves(block, new, _part(runs, half, half + size), (half, size), smallest)


def _crossed_over(
    block: Block, new: Image, runs: Sequence[Run], part: tuple[int, int]
) -> Move | None:
    start, size = part
    half, at = size // 2, start - block.start
    theirs = new.read(start, size) if _worth(block, start, start + size, runs) else None
    if theirs is None:
        return None
    step = half // _SAMPLE | 1
    some = block.data[at + half : at + size : step] + block.data[at : at + half : step]
    others = theirs[:half:step] + theirs[half::step]
    if relations.differing(some, others) * 2 > len(some):
        return None
    mine = block.data[at : at + size]
    return _judged((relations.EXCHANGED, 0, relations.exchanged(mine)), start, mine, theirs)


def _within(
    block: Block, new: Image, runs: Sequence[Run], apart: int, closer: Sequence[int]
) -> Iterator[Move]:
    """Yield the moves in stretches of a block; a group that is none is examined more closely."""
    done = block.start
    for close in _groups(runs, apart):
        group = [run for run in close if run.start >= done]
        if sum(run.length for run in group) < FEWEST:
            continue
        move = _move(block, new, group)
        if move is not None:
            move = _wider(block, new, move, [run for run in runs if run.start >= done])
            done = move.end
            yield move
            continue
        for at, gap in enumerate(closer):
            if len(_groups(group, gap)) > 1:
                yield from _within(block, new, group, gap, closer[at + 1 :])
                break


def _wider(block: Block, new: Image, move: Move, runs: Sequence[Run]) -> Move:
    """Return a move with the runs on either side that it explains too."""
    if move.kind == relations.EXCHANGED:
        return move
    after = [run.range.end for run in runs if run.start >= move.end][:_BESIDE]
    for end in after:
        move = _grown(block, new, move, (move.start, min(-(-end // 4) * 4, block.end))) or move
    before = [run.start for run in runs if run.range.end <= move.start][-_BESIDE:]
    for start in reversed(before):
        move = _grown(block, new, move, (max(start // 4 * 4, block.start), move.end)) or move
    return move


def _grown(block: Block, new: Image, move: Move, span: tuple[int, int]) -> Move | None:
    """Return a move over a longer stretch, if it explains most of what is added."""
    start, end = span
    mine, theirs = block.data[start - block.start : end - block.start], new.read(start, end - start)
    if theirs is None or end <= move.start:
        return None
    guess = _guess(move.kind, move.by, mine, theirs)
    grown = _judged((move.kind, move.by, guess), start, mine, theirs)
    if grown is None:
        return None
    more = sum(run.length for run in grown.left) - sum(run.length for run in move.left)
    return grown if more * 2 < grown.changed - move.changed else None


def _groups(runs: Sequence[Run], apart: int) -> list[list[Run]]:
    """Return the runs in groups that more than `apart` unchanged bytes part."""
    groups = [[runs[0]]]
    for run, after in pairwise(runs):
        if after.start - run.range.end > apart:
            groups.append([])
        groups[-1].append(after)
    return groups


def _move(block: Block, new: Image, group: Sequence[Run]) -> Move | None:
    """Return the move that explains the group of runs best, or None."""
    best: tuple[int, Move] | None = None
    for start, end in _extents(block, group):
        if not _worth(block, start, end, group):
            continue
        mine = block.data[start - block.start : end - block.start]
        theirs = new.read(start, end - start)
        if theirs is None:
            continue
        for guessed in _guesses(mine, theirs):
            move = _judged(guessed, start, mine, theirs)
            if move is not None:
                # What a shift brings in from outside is not explained by it.
                rank = abs(move.by) + sum(stretch.length for stretch in move.left)
                if best is None or rank < best[0]:
                    best = rank, move
        if best is not None and best[0] == 0:
            break
    return best[1] if best is not None else None


def _judged(guessed: tuple[str, int, bytes], start: int, mine: bytes, theirs: bytes) -> Move | None:
    """Return the move that a guess is, None if it leaves too much unaccounted."""
    kind, by, guess = guessed
    off, changed = relations.differing(guess, theirs), relations.differing(mine, theirs)
    if changed < FEWEST or off * REST >= changed:
        return None
    left = joined(Range(start + at, length) for at, length in _left(mine, theirs, guess))
    accounted = changed - sum(stretch.length for stretch in left)
    return Move(kind, start, len(mine), by, accounted, left)


def _worth(block: Block, start: int, end: int, group: Sequence[Run]) -> bool:
    """Return whether enough of the bytes other than the filling changed for a move."""
    changed = sum(run.length for run in group)
    if changed * SPARSE < end - start:
        step = (end - start) // _SOME | 1
        some = block.data[start - block.start : end - block.start : step]
        filling = Counter(some).most_common(1)[0][1]
        if changed * SPARSE < (end - start) * (len(some) - filling) // len(some):
            return False
    values = set().union(*(run.new[:: run.length // _SOME | 1] for run in group[:_SMALLEST]))
    return len(values) >= TELLING


def _extents(block: Block, group: Sequence[Run]) -> list[tuple[int, int]]:
    """Return the stretches that may have been moved whole: words, as it is, a power of two.

    Halves are those of a part of the memory, which starts and ends at round addresses.
    """
    first, last = group[0].start, group[-1].range.end
    extents = [(first // 4 * 4, -(-last // 4) * 4), (first, last)]
    size = 4
    while first // size != (last - 1) // size:
        size *= 2
    if size <= (last - first) * ROUND:
        extents.append((first // size * size, first // size * size + size))
    cut = ((max(low, block.start), min(high, block.end)) for low, high in extents)
    return list(dict.fromkeys(cut))


def _guesses(mine: bytes, theirs: bytes) -> Iterator[tuple[str, int, bytes]]:
    """Yield what the new bytes may be: the kind, by how much, the bytes."""
    for kind in WORDS:
        guess = _guess(kind, 0, mine, theirs)
        if _near(guess, theirs):
            yield kind, 0, guess
    shift = relations.shift(mine, theirs)
    if shift is not None and abs(shift.by) * SHORT <= len(mine):
        yield relations.SHIFTED, shift.by, _guess(relations.SHIFTED, shift.by, mine, theirs)


def _guess(kind: str, by: int, mine: bytes, theirs: bytes) -> bytes:
    """Return what a stretch is after a move; what a shift brings in is taken as it came."""
    if kind != relations.SHIFTED:
        return _TURNS[kind](mine)
    at = relations.first_difference(mine, theirs)
    if by > 0:
        return theirs[: at + by] + mine[at : len(mine) - by]
    return mine[:at] + mine[at - by :] + theirs[len(theirs) + by :]


def _near(guess: bytes, theirs: bytes) -> bool:
    """Return whether a guess is right for half of a sample at least."""
    step = len(guess) // _SAMPLE | 1
    some, others = guess[::step], theirs[::step]
    return relations.differing(some, others) * 2 <= len(some)


def _left(mine: bytes, theirs: bytes, guess: bytes) -> list[tuple[int, int]]:
    """Return the changed offsets that a guess does not explain, as offsets and lengths."""
    if guess == theirs:
        return []
    off = _DIFFERING.finditer(exclusive_or(guess, theirs))
    places = (at for match in off for at in range(*match.span()))
    return [(at, 1) for at in places if mine[at] != theirs[at]]
