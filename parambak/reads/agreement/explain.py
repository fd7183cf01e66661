"""Why reads of one chip differ: the causes ranked, for each two and for all together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from parambak.memory.counted import counted
from parambak.reads.agreement import bits, lines, settings, stretches
from parambak.reads.agreement.model import (
    ADDRESS_LINE,
    ANOTHER_CHIP,
    BYTES_SWAPPED,
    CANNOT_TELL,
    CONTACT_LOST,
    CUT_SHORT,
    DATA_LINE,
    HALVES_EXCHANGED,
    REPEATED,
    SHIFTED,
    WEAK_CELLS,
    Cause,
    Claim,
    Explanation,
    PairExplanation,
)
from parambak.reads.agreement.two_reads import lay

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.memory.image import Image
    from parambak.reads.agreement.two_reads import TwoReads

_PRIOR: Final = {
    WEAK_CELLS: 0.0,
    DATA_LINE: -2.0,
    ADDRESS_LINE: -2.0,
    CONTACT_LOST: -1.0,
    BYTES_SWAPPED: 0.0,
    SHIFTED: -1.0,
    HALVES_EXCHANGED: 0.0,
    ANOTHER_CHIP: -1.0,
    CUT_SHORT: 0.0,
    REPEATED: 0.0,
}
"""Bits by which a cause is likelier before any read is examined."""
_LEAST: Final = 2.0
"""Bits that a cause must save to be named before `cannot-tell`."""
_LEAST_OF_BITS: Final = -1.0
"""The same for weak cells: one differing bit is little evidence, but hardly of another cause."""
_CERTAIN: Final = 40.0
"""Bits by which a certain cause leads: by chance that happens once in 10 to the 12."""
_EXPLAINED: Final = 0.5
_ALL: Final = 0.995
_SHOWN: Final = 4
MOST_READS: Final = 16
"""Different reads that are compared; the text states that further ones are left out."""


def explain(images: Sequence[Image], names: Sequence[str] = ()) -> Explanation:
    """Return why reads differ, two or more, each an image of what should be one memory.

    `names` are the names of the reads in the sentences, "read 1", "read 2" and so on by
    default. Of more than two, each is compared with the read that most agree with. Time and
    memory are bounded by the images' sizes and `MOST_READS`.
    """
    called = [*names[: len(images)], *(f"read {n + 1}" for n in range(len(names), len(images)))]
    groups = _groups(images)
    if len(groups) < 2:
        text = "the reads are the same" if len(images) > 1 else "one read alone cannot differ"
        return Explanation((), groups, (), text)
    compared = groups[:MOST_READS]
    middle = _middle(images, compared)
    pairs = []
    for group in compared:
        if group is not middle:
            lower, higher = sorted((middle[0], group[0]))
            pairs.append(_pair(images, lower, higher, called))
    return Explanation(_together(pairs), groups, tuple(pairs), _text(groups, called, len(images)))


def _groups(images: Sequence[Image]) -> tuple[tuple[int, ...], ...]:
    """Return the numbers of the reads that are the same, the largest group first."""
    groups: list[list[int]] = []
    for number, image in enumerate(images):
        for group in groups:
            if images[group[0]] == image:
                group.append(number)
                break
        else:
            groups.append([number])
    return tuple(tuple(group) for group in sorted(groups, key=lambda group: (-len(group), group)))


def _middle(images: Sequence[Image], groups: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """Return the group to compare the others with: the largest, else the nearest to all."""
    if len(groups) == 2 or len(groups[0]) > len(groups[1]):
        return groups[0]
    return min(groups, key=lambda group: _apart(images, group[0], groups))


def _apart(images: Sequence[Image], number: int, groups: Sequence[tuple[int, ...]]) -> int:
    total = 0
    for group in groups:
        reads = lay(images[number], images[group[0]], ("", ""))
        held = images[number].size + images[group[0]].size
        total += held if reads is None else reads.count + held - 2 * reads.size
    return total


def _text(groups: Sequence[tuple[int, ...]], called: Sequence[str], number: int) -> str:
    if number == 2:
        return f"{called[0]} and {called[1]} differ"
    parts = []
    for group in groups[:_SHOWN]:
        named = ", ".join(called[number_of_read] for number_of_read in group[:_SHOWN])
        parts.append(f"{named} agree" if len(group) > 1 else f"{named} differs from all others")
    more = "; there are more groups" if len(groups) > _SHOWN else ""
    if len(groups) > MOST_READS:
        more += f", and only the first {MOST_READS} different reads were compared"
    return "; ".join(parts) + more


def _pair(
    images: Sequence[Image], first: int, second: int, called: Sequence[str]
) -> PairExplanation:
    names = (called[first], called[second])
    reads = lay(images[first], images[second], names)
    ranked = rank(_claims(images[first], images[second], reads, names))
    missing = (
        0 if reads is None else sum(stretch.length for stretch in (*reads.lacks, *reads.spare))
    )
    differing = missing + (0 if reads is None else reads.count)
    return PairExplanation(first, second, differing, _causes(ranked, differing))


def _claims(
    first: Image, second: Image, reads: TwoReads | None, names: tuple[str, str]
) -> Iterator[Claim]:
    """Yield every claim about two reads, each test made in both directions."""
    turned_names = (names[1], names[0])
    moved = settings.base_moved(first, second, names)
    if moved is not None:
        yield moved
    for claim in (
        settings.repeated(first, second, names),
        settings.repeated(second, first, turned_names),
    ):
        if claim is not None:
            yield claim
    if reads is None:
        return
    for claim in (settings.cut_short(first, reads), settings.cut_short(second, reads.turned)):
        if claim is not None:
            yield claim
    if not reads.count:
        return
    for ordered in (reads, reads.turned):
        yield from settings.another_chip(ordered)
        for room in (bits, lines, stretches, settings):
            yield from room.claims(ordered)


def rank(claims: Iterator[Claim]) -> list[Claim]:
    """Return the best claim of each cause, the likeliest first."""
    best: dict[str, Claim] = {}
    for claim in claims:
        if claim.share < _EXPLAINED and claim.code not in (ANOTHER_CHIP, CUT_SHORT):
            continue
        weighed = claim._replace(gain=claim.gain + _PRIOR[claim.code])
        if claim.code not in best or weighed.gain > best[claim.code].gain:
            best[claim.code] = weighed
    return sorted(best.values(), key=lambda claim: -claim.gain)


def _causes(ranked: Sequence[Claim], differing: int) -> tuple[Cause, ...]:
    causes = []
    for rank_of_claim, claim in enumerate(ranked):
        if claim.gain < (_LEAST_OF_BITS if claim.code == WEAK_CELLS else _LEAST):
            continue
        causes.append(Cause(claim.code, claim.share, claim.text, _certain(ranked, rank_of_claim)))
    if causes:
        return tuple(causes)
    finding = (
        f"{counted(differing, 'byte')} differ"
        if differing
        else "the reads have no address in common"
    )
    return (Cause(CANNOT_TELL, 0.0, f"{finding}, and no single cause explains how", certain=False),)


def _certain(ranked: Sequence[Claim], index: int) -> bool:
    claim = ranked[index]
    if index or not claim.sure or (claim.share < _ALL and claim.code != CUT_SHORT):
        return False
    second = max((other.gain for other in ranked[1:]), default=0.0)
    lead = claim.gain - max(0.0, second)
    return lead >= (20.0 if claim.code in (ANOTHER_CHIP, CUT_SHORT) else _CERTAIN)


def _together(pairs: Sequence[PairExplanation]) -> tuple[Cause, ...]:
    """Return the causes of all pairs in one list: what comes first for most pairs first.

    A cause is certain for all if it is the certain one of every pair.
    """
    votes: dict[str, float] = {}
    best: dict[str, Cause] = {}
    for pair in pairs:
        for index, cause in enumerate(pair.causes):
            votes[cause.code] = votes.get(cause.code, 0.0) + 1 / (index + 1) ** 2
            if cause.code not in best or (cause.certain, cause.figure) > (
                best[cause.code].certain,
                best[cause.code].figure,
            ):
                best[cause.code] = cause
    certain = {cause.code for pair in pairs for cause in pair.causes[:1] if cause.certain}
    all_certain = all(pair.causes[0].certain for pair in pairs) and len(certain) == 1
    ranked = sorted(best, key=lambda code: -votes[code])
    return tuple(
        Cause(code, best[code].figure, best[code].text, all_certain and code in certain)
        for code in ranked
    )
