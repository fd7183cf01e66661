"""Whether a chip reads differently from one read to the next: the finding `unstable`.

`formats/verified.md` gives the rule. Pure: reads and a function that gives their images in,
findings out.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.bytes import changed_bits, runs
from parambak.differences.fading import MOST_BITS
from parambak.differences.fields import FADING
from parambak.differences.history import history
from parambak.differences.reread import DIFFERENT, moving_masks, reread
from parambak.keeping.state.select import copy_name
from parambak.layouts import coverage
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import date

    from parambak.keeping.state.bodies import ImageEntry
    from parambak.keeping.state.model import Copy, Explanation, Position, Read
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image

SAME_OCCASION_DAYS = 14
"""Days that two reads of one visit may be apart and be of one occasion."""
MOST_SHOWN = 3  # addresses in a sentence
MOST_FOLLOWED = 40  # images that are followed for cells that fade
_DAY = 86_400 * 10**9  # nanoseconds


class Content(NamedTuple):
    """The image of a read: None if its bytes are lost; `plausible` if it can be of its chip."""

    image: Image | None
    plausible: bool


class Disagreement(NamedTuple):
    """Two reads of one chip, one after the other on one occasion, that differ without a write.

    `values` are the differing addresses with the bytes of both, hexadecimal or None;
    `explanation` is a person's remark on the two, None without one. Of bytes that are lost,
    `lost` is true and nothing else is known.
    """

    before: Read
    after: Read
    values: tuple[tuple[int, str | None, str | None], ...]
    explanation: Explanation | None
    lost: bool = False


def disagreements(
    position: Position, layout: Layout | None, content_of: Callable[[ImageEntry], Content]
) -> tuple[Disagreement, ...]:
    """Return every disagreement among the reads of a position, oldest first."""
    return tuple(
        disagreement
        for occasion in _occasions(position)
        if len({read.image for read in occasion}) > 1
        for disagreement in _within(position, occasion, layout, content_of)
    )


def _occasions(position: Position) -> Iterator[list[Read]]:
    """Yield the reads of one chip that were made on one occasion, in their order."""
    occasion: list[Read] = []
    for read in position.reads:
        if read.reconstructed_from:
            continue
        if occasion and not one_occasion(occasion[-1], read):
            yield occasion
            occasion = []
        occasion.append(read)
    yield occasion


def one_occasion(first: Read, second: Read) -> bool:
    """Return whether two reads are of one chip and were made on one occasion."""
    if first.chip != second.chip:
        return False
    apart = abs((second.read_on - first.read_on).days)
    if first.visit is not None and first.visit == second.visit:
        return apart <= SAME_OCCASION_DAYS
    if apart:
        return False
    # Old dumps archived together, without a day: their files' times show that days are between.
    stated = first.stated and second.stated
    return stated or not _files_days_apart(first, second)


def _files_days_apart(first: Read, second: Read) -> bool:
    if first.untimed or second.untimed:
        return False
    times = [
        [dump.modified for dump in read.dumps if dump.modified is not None]
        for read in (first, second)
    ]
    return all(times) and abs(max(times[1]) - max(times[0])) > _DAY


def _within(
    position: Position,
    occasion: Sequence[Read],
    layout: Layout | None,
    content_of: Callable[[ImageEntry], Content],
) -> Iterator[Disagreement]:
    """Yield the disagreements of one occasion; reads that are not plausible do not count."""
    contents = {read.image: content_of(read.image) for read in occasion}
    sound = [read for read in occasion if contents[read.image].plausible]
    for before, after in pairwise(sound):
        if before.image == after.image or _written(position, before, after):
            continue
        explanation = _explanation(position, before, after)
        old, new = contents[before.image].image, contents[after.image].image
        if old is None or new is None:
            yield Disagreement(before, after, (), explanation, lost=True)
            continue
        compared = reread(layout, old, new)
        if compared.kind == DIFFERENT:
            values = tuple((at, _byte(old, at), _byte(new, at)) for at in compared.addresses)
            yield Disagreement(before, after, values, explanation)


def _byte(image: Image, address: int) -> str | None:
    data = image.read(address, 1)
    return None if data is None else data.hex().upper()


def _written(position: Position, before: Read, after: Read) -> bool:
    """Return whether it is on record that the memory was written between two reads."""
    if after.facts.written and after.call != before.call:
        return True
    first, second = sorted((before.order, after.order))
    return bisect_right(position.written, first) < bisect_right(position.written, second)


def _explanation(position: Position, before: Read, after: Read) -> Explanation | None:
    both = {before.record, after.record}
    return next((e for e in position.explanations if both <= e.reads), None)


class Stability(NamedTuple):
    """What is to be stated of the disagreements of a chip.

    `unstable` are those that nobody explained, `explained` those that a person did; `undecided`
    are those in which bytes are lost.
    """

    unstable: tuple[str, ...] = ()
    explained: tuple[str, ...] = ()
    undecided: tuple[str, ...] = ()


def statements(
    position: Position,
    copy: Copy,
    layout: Layout | None,
    found: Sequence[Disagreement],
    person: Callable[[str], str],
) -> Stability:
    """Return what is to be stated with a copy: of its chip, up to its newest read."""
    last = copy.newest.when
    of_copy = [
        disagreement
        for disagreement in found
        if disagreement.before.chip == copy.newest.chip and disagreement.before.when <= last
    ]
    open_ones = [disagreement for disagreement in of_copy if disagreement.explanation is None]
    return Stability(
        unstable=tuple(
            _unstable(position, layout, of_day)
            for of_day in _by_day(d for d in open_ones if not d.lost)
        ),
        explained=tuple(
            dict.fromkeys(
                f"reads of {d.before.read_on} disagree; explained by {person(d.explanation.by)}: "
                f"{d.explanation.text}"
                for d in of_copy
                if d.explanation is not None
            )
        ),
        undecided=tuple(
            f"reads of {of_day[0].before.read_on} differ, and the bytes of one are lost: fetch "
            "them from another copy of the vault"
            for of_day in _by_day(d for d in open_ones if d.lost)
        ),
    )


def _by_day(found: Iterable[Disagreement]) -> list[list[Disagreement]]:
    by_day: dict[date, list[Disagreement]] = {}
    for disagreement in found:
        by_day.setdefault(disagreement.before.read_on, []).append(disagreement)
    return list(by_day.values())


def _unstable(position: Position, layout: Layout | None, of_day: Sequence[Disagreement]) -> str:
    """Return the disagreements of one day in words, and what to do."""
    values: dict[int, dict[str | None, None]] = {}
    for disagreement in of_day:
        for at, old, new in disagreement.values:
            values.setdefault(at, {}).update({old: None, new: None})
    pairs = {
        f"`parambak diff {_copy(position, d.before)} {_copy(position, d.after)} --remark TEXT "
        "--by NAME`"
        for d in of_day
    }
    shown = [_shown(layout, at, values[at]) for at in sorted(values)[:MOST_SHOWN]]
    more = f" and {len(values) - MOST_SHOWN} more addresses" if len(values) > MOST_SHOWN else ""
    times = f" {len(of_day)} times" if len(of_day) > 1 else ""
    return (
        f"the reads of {of_day[0].before.read_on} disagree{times} in "
        f"{counted(len(values), 'byte')}: {', '.join(shown)}{more}. No write between them is on "
        "record. Reseat the chip, and read it again. Replace the chip if it reads differently "
        f"again. If you can explain it, record that: {min(pairs)}"
    )


def _copy(position: Position, read: Read) -> str:
    copy = next(copy for copy in position.copies if copy.image == read.image)
    return copy_name(position, copy)


def _shown(layout: Layout | None, address: int, values: Iterable[str | None]) -> str:
    names = coverage.fields_over(layout, address, 1) if layout is not None else ()
    name = next(iter(names), None)
    held = " and ".join(value or "absent" for value in values)
    return f"0x{address:04X} ({name}: {held})" if name else f"0x{address:04X} ({held})"


def fading_fields(
    layout: Layout | None,
    images: Iterable[tuple[Read, Image]],
    found: Sequence[Disagreement],
    explanations: Sequence[Explanation],
) -> tuple[str, ...]:
    """Return the fields and addresses in which cells may be fading, by the images of one chip.

    The last images alone are followed, each with its first and its last read. What a person
    explained, and what reads of one occasion disagree in, is left out.
    """
    times: list[tuple[Read, Read, Image]] = []
    for read, image in images:
        if layout is not None and image.end > layout.memory:
            continue
        if times and times[-1][2] == image:
            times[-1] = (times[-1][0], read, image)
        else:
            times.append((read, read, image))
    times = times[-MOST_FOLLOWED:]
    if not any(few_bits(old[2], new[2], layout) for old, new in pairwise(times)):
        return ()
    apart = {(d.before.record, d.after.record) for d in found}
    left_out = {
        number
        for number, (old, new) in enumerate(pairwise(times), start=1)
        if (old[1].record, new[0].record) in apart
        or any({old[1].record, new[0].record} <= e.reads for e in explanations)
    }
    followed = history(layout, (image for _, _, image in times), left_out.__contains__)
    names: dict[str, None] = {}
    for step in followed.steps:
        if step.image not in left_out:
            names |= {c.field: None for c in step.fields if c.kind == FADING}
            names |= {loose.range.text: None for loose in step.loose if loose.kind == FADING}
    return tuple(names)


def few_bits(old: Image, new: Image, layout: Layout | None) -> bool:
    """Return whether one or two bits of a byte that does not run by itself changed."""
    masks = moving_masks(layout) if layout is not None else {}
    return any(
        0 < (bits & ~masks.get(address, 0)).bit_count() <= MOST_BITS
        for run in runs(old, new)
        for address, bits in changed_bits(run)
    )


def tainted(reads: Sequence[Read], found: Sequence[Disagreement]) -> frozenset[str]:
    """Return the records of the reads that a disagreement without a remark makes doubtful.

    Those are the reads of its chip from its first read on.
    """
    since: dict[int, tuple[date, int, int]] = {}
    for disagreement in found:
        if disagreement.explanation is None:
            first = disagreement.before
            since.setdefault(first.chip, first.when)
    return frozenset(
        read.record for read in reads if read.chip in since and read.when >= since[read.chip]
    )
