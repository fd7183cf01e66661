"""Whether two dumps of a pair are in the wrong order, or of the wrong half of the memory.

`formats/verified.md` gives each rule. Pure.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Final, NamedTuple, cast

from parambak.differences.bytes import differing_bytes
from parambak.errors import CallRefused, DumpRefused, Fault
from parambak.keeping.recording.wrong_position import far_better
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range
    from parambak.reads.pairs import PairScheme

ORDER = Fault(
    "pair-order",
    CallRefused,
    "the two dumps look like a pair in the other order",
    "Give the dumps in the other order, or --pair {reversed}. If the order is right, give "
    "--position-confirmed.",
)
SAME_HALF = Fault(
    "pair-same-half",
    CallRefused,
    "the two dumps look like two reads of one chip of the pair",
    "Give a dump of each chip. If both are right, give --position-confirmed.",
)
HALF_ALONE = Fault(
    "pair-half-alone",
    CallRefused,
    "the dump looks like one half of the memory, that of one chip of a pair",
    "Give the dumps of both chips with --pair. If it is right, give --position-confirmed.",
)
REVERSED: Final = {
    "even-odd": "odd-even",
    "odd-even": "even-odd",
    "low-high": "high-low",
    "high-low": "low-high",
}


class Given(NamedTuple):
    """A read that is to be put on record.

    `pair` is how two chips hold the memory, None for one chip; `layout` the one in force; `moving`
    are the running ranges, which are not compared.
    """

    file: str
    image: Image
    pair: str | None
    layout: Layout | None = None
    moving: Sequence[Range] = ()


def refuse_wrong_half(given: Given, copy: tuple[str, Image] | None) -> None:
    """Raise if a read looks like a pair in the wrong order, or like half of a memory.

    `copy` is the latest copy of the position with its name, None if there is none.
    """
    if given.pair is None:
        if copy is not None:
            _refuse_half_alone(given.file, given.image, *copy)
        return
    if given.pair not in REVERSED:
        return
    scheme = cast("PairScheme", given.pair)
    with suppress(DumpRefused):  # a memory that cannot be split evenly
        halves = _halves(given.image, scheme)
        turned = _turned(halves, scheme)
        _refuse_same_half(given.file, scheme, halves, copy)
        if copy is None:
            _refuse_order_by_contents(given, scheme, halves, turned)
        else:
            _refuse_order(given, turned, copy)


def _halves(image: Image, scheme: PairScheme) -> tuple[Image, Image]:
    from parambak.reads.pairs import split  # noqa: PLC0415 - for a pair only

    return split(image, scheme)


def _turned(halves: tuple[Image, Image], scheme: PairScheme) -> Image:
    from parambak.reads.pairs import join  # noqa: PLC0415 - for a pair only

    return join(halves[1], halves[0], scheme)


def _refuse_same_half(
    file: str,
    scheme: PairScheme,
    halves: tuple[Image, Image],
    copy: tuple[str, Image] | None,
) -> None:
    """Raise if both dumps are the same, or both fit one half of the copy far better."""
    first, second = halves
    if first == second and len(set(first.content)) > 1:
        raise SAME_HALF.error(
            file=file,
            expected="two chips with contents of their own",
            found=f"the same {counted(first.size, 'byte')} twice",
        )
    if copy is None:
        return
    name, memory = copy
    parts = _halves(memory, scheme)
    distances = [[differing_bytes(half, part) for part in parts] for half in halves]
    for number, word in enumerate(("first", "second")):
        other = 1 - number
        wrong = far_better(distances[other][number], distances[other][other])
        if wrong and not far_better(distances[number][other], distances[number][number]):
            raise SAME_HALF.error(
                file=file,
                expected=f"one dump of each chip, as in {name}",
                found=f"both are near the {word} chip: the other dump differs from that in "
                f"{counted(distances[other][number], 'byte')}, and from its own in "
                f"{distances[other][other]}",
            )


def _refuse_order(given: Given, turned: Image, copy: tuple[str, Image]) -> None:
    """Raise if the dumps fit the copy far better in the other order."""
    name, memory = copy[0], copy[1].without(given.moving)
    here = differing_bytes(given.image.without(given.moving), memory)
    there = differing_bytes(turned.without(given.moving), memory)
    if far_better(there, here):
        raise ORDER.error(
            reversed=REVERSED[given.pair or ""],
            file=given.file,
            expected=f"near {name}, from which it differs in {counted(here, 'byte')}",
            found=f"in the other order it differs in {counted(there, 'byte')}",
        )


def _refuse_order_by_contents(
    given: Given, scheme: PairScheme, halves: tuple[Image, Image], turned: Image
) -> None:
    """Raise if the checks hold, or words are readable, in the other order alone."""
    from parambak.reads.half_dumps import looks_paired  # noqa: PLC0415 - for a pair only

    layout = given.layout
    if layout is not None and layout.checks:
        from parambak.layouts.decode import decode  # noqa: PLC0415 - layouts only

        images = (given.image, turned)
        here, there = ([c.holds for c in decode(layout, image).checks] for image in images)
        if not any(here) and all(there):
            raise ORDER.error(
                reversed=REVERSED[scheme],
                file=given.file,
                expected="checks that hold",
                found=f"in the other order alone all hold ({counted(len(here), 'check')})",
            )
        return
    if scheme in {"even-odd", "odd-even"}:
        words = [finding.text for finding in looks_paired(*halves)]
        if any(REVERSED[scheme] in text for text in words):
            raise ORDER.error(
                reversed=REVERSED[scheme],
                file=given.file,
                expected=f"words that are readable as {scheme}",
                found="; ".join(words),
            )


def _refuse_half_alone(file: str, image: Image, name: str, memory: Image) -> None:
    """Raise if a dump of half the copy's size is near one half of it."""
    if 2 * image.size != memory.size or len(set(image.content)) < 2:
        return
    for scheme, words in (
        ("even-odd", ("the even bytes", "the odd bytes")),
        ("low-high", ("the lower half", "the upper half")),
    ):
        try:
            parts = _halves(memory, cast("PairScheme", scheme))
        except DumpRefused:
            continue
        for part, word in zip(parts, words, strict=True):
            differing = differing_bytes(image, part)
            if differing * 4 <= image.size:
                raise HALF_ALONE.error(
                    file=file,
                    expected=f"{counted(memory.size, 'byte')}, as {name} has",
                    found=f"{counted(image.size, 'byte')}, near {word} of it: "
                    f"{counted(differing, 'byte')} differ",
                )
