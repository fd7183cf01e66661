"""Whether a dump is of another chip than the one named: what is known of other chips and reads.

`formats/verified.md` gives each rule. Pure, except that images are asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.differences.bytes import differing_bytes
from parambak.differences.reread import DIFFERENT, reread
from parambak.errors import CallRefused, DumpRefused, Fault
from parambak.keeping.unstable import one_occasion
from parambak.keeping.verified import evidence_of, separate_reads
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from parambak.keeping.state.bodies import ImageEntry
    from parambak.keeping.state.model import Read
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range

BLANK = Fault(
    "dump-blank",
    DumpRefused,
    "every byte of the dump is {value}: the chip is blank, was not seated, or had no power",
    "Seat the chip and read it again. If the chip is really blank, give --blank-confirmed.",
)
IMAGE_ELSEWHERE = Fault(
    "position-image-elsewhere",
    CallRefused,
    "this is the first dump of {where}, and another position already has the same bytes",
    "Check which chip was read. If the two chips hold the same, give --position-confirmed.",
)
FILE_ELSEWHERE = Fault(
    "position-file-elsewhere",
    CallRefused,
    "this file is already on record as a read of another position",
    "Give the dump of this chip. If the file is right here, give --position-confirmed.",
)
FAR = Fault(
    "position-far",
    CallRefused,
    "this dump differs from every earlier copy of {where} in most of its contents",
    "Check which chip was read, and the reader's settings. If all is right, give "
    "--position-confirmed, or --written if new contents were loaded.",
)
SECOND_IMAGE = Fault(
    "position-second-image",
    CallRefused,
    "{where} would have two different copies, each read twice, on one occasion",
    "Check which chip was read. If the memory was written between, give --written TEXT. If all "
    "is right, give --position-confirmed.",
)
FEWEST_FAR = 16
"""Bytes that differ at least, before a dump is far from a copy."""
MOST_COPIES = 40
"""Copies that a dump is compared with, the newest."""


def refuse_blank(file: str, image: Image) -> None:
    """Raise if every byte of an image is FF or 00."""
    value = blank_value(image)
    if value is not None:
        raise BLANK.error(
            value=f"{value:02X}",
            file=file,
            expected="contents like those of the copies on record",
            found=f"{counted(image.size, 'byte')} of {value:02X}",
        )


def blank_value(image: Image) -> int | None:
    """Return the byte that a blank image holds throughout, None if it holds anything else."""
    content = image.content
    blank = content[:1] in {b"\xff", b"\x00"} and content.count(content[:1]) == len(content)
    return content[0] if blank else None


def refuse_far(
    file: str,
    where: str,
    image: Image,
    copies: Iterable[tuple[str, Image]],
    moving: Sequence[Range],
) -> None:
    """Raise if an image is far from every copy: each with its name, the running ranges left out.

    It is far from one if at least `FEWEST_FAR` bytes differ, and more than half of the bytes that
    are neither 00 nor FF, in the one of the two that has more of them.
    """
    mine = image.without(moving)
    nearest: tuple[int, int, str] | None = None
    for name, copy in copies:
        other = copy.without(moving)
        held = max(_telling(mine), _telling(other))
        differing = differing_bytes(mine, other)
        if differing < FEWEST_FAR or differing * 2 <= held:
            return
        nearest = min(nearest or (differing, held, name), (differing, held, name))
    if nearest is not None:
        differing, held, name = nearest
        raise FAR.error(
            where=where,
            file=file,
            expected=f"near an earlier copy: at most half of its {counted(held, 'byte')} that are "
            "neither 00 nor FF differ",
            found=f"{counted(differing, 'byte')} differ from the nearest, {name}",
        )


def _telling(image: Image) -> int:
    content = image.content
    return len(content) - content.count(b"\xff") - content.count(b"\x00")


class Pair(NamedTuple):
    """Two images of one occasion, each with how many separate reads gave it."""

    first: ImageEntry
    first_reads: int
    second: ImageEntry
    second_reads: int


def second_image(on_record: Sequence[Read], given: Sequence[Read], enough: int) -> Iterable[Pair]:
    """Yield each two images of one occasion that each have enough reads, one after the other.

    If the chip gave the first image again after the second, it is unstable, and no wrong chip is
    suspected. `on_record` are the reads of the position and `given` those that are to be put on
    record, oldest first; one image at least is among the given.
    """
    same = [r for r in evidence_of(on_record) if any(one_occasion(r, g) for g in given)]
    reads = [*same, *given]
    by_image: dict[ImageEntry, list[int]] = {}
    for number, read in enumerate(reads):
        by_image.setdefault(read.image, []).append(number)
    counts = {
        image: separate_reads([reads[number] for number in numbers])
        for image, numbers in by_image.items()
    }
    often = [image for image, count in counts.items() if count >= enough]
    for first in often:
        for second in often:
            new = by_image[second][-1] >= len(same)
            if new and by_image[first][-1] < by_image[second][0]:
                yield Pair(first, counts[first], second, counts[second])


def refuse_second_image(
    where: str,
    pairs: Iterable[Pair],
    layout: Layout | None,
    image_of: Callable[[ImageEntry], Image | None],
) -> None:
    """Raise for two images that differ although nothing shows a write between them."""
    for pair in pairs:
        first, second = image_of(pair.first), image_of(pair.second)
        if first is None or second is None:
            continue
        compared = reread(layout, first, second)
        if compared.kind == DIFFERENT:
            raise SECOND_IMAGE.error(
                where=where,
                expected=f"the bytes of {pair.first.sha256[:8]}, of which there are "
                f"{counted(pair.first_reads, 'separate read')} on this occasion",
                found=f"{counted(pair.second_reads, 'separate read')} that differ in "
                f"{counted(len(compared.addresses), 'byte')}",
            )


def refuse_image_elsewhere(where: str, file: str, held: Mapping[str, str]) -> None:
    """Raise if other positions hold the bytes of a first dump: by name, and whose they are."""
    for name, whose in held.items():
        raise IMAGE_ELSEWHERE.error(
            where=where, file=file, expected="bytes of its own", found=f"the bytes of {name}{whose}"
        )
