"""Two chips that hold one memory: joined, and split again.

A unit with 16-bit words may keep the even bytes in one chip and the odd bytes in the other. A
large memory may be in two chips one after the other. A careful maker keeps it twice.
"""

from __future__ import annotations

from typing import Final, Literal, get_args

from parambak.errors import DumpRefused, Fault
from parambak.memory.image import Block, Image
from parambak.memory.relations import every_other, first_difference, interleaved

PairScheme = Literal["duplicate", "even-odd", "odd-even", "low-high", "high-low"]
PAIR_SCHEMES: Final[tuple[PairScheme, ...]] = get_args(PairScheme)
"""How two chips can hold one memory; the first chip's part is named first."""
_READ_BOTH: Final = (
    "Read both chips again with the same device selected. Give the two files in order."
)
PAIR_DIFFERS: Final = Fault(
    "read-pair-differs",
    DumpRefused,
    "the two chips should hold the same bytes, and do not",
    "Reseat and read both chips again. If they still differ, one of the chips is failing.",
)
PAIR_RANGES: Final = Fault(
    "read-pair-ranges",
    DumpRefused,
    "the two chips' dumps do not cover the same addresses",
    _READ_BOTH,
)
PAIR_ODD: Final = Fault(
    "read-pair-odd",
    DumpRefused,
    "the memory cannot be split evenly over two chips",
    "Check the size of the memory, and how the two chips share it.",
)


def chips_of(scheme: str | None) -> int:
    """Return how many chips share one memory: 2 for a pair that does not hold it twice."""
    return 2 if scheme in PAIR_SCHEMES and scheme != "duplicate" else 1


def join(first: Image, second: Image, scheme: PairScheme, *, chip: int | None = None) -> Image:
    """Return the memory that two chips hold, each image with its chip's own addresses.

    `even-odd`: the first chip's byte at address a is the memory's at 2 a, the second's the
    one after it. `low-high`: the second follows the first, which is `chip` bytes large, or as
    many as its dump spans; a second dump that is already after the first stays there. The
    reverse schemes take the second chip first. Raises DumpRefused if the two do not cover the
    same addresses or, as duplicates, differ.
    """
    if scheme == "duplicate":
        return _same(first, second)
    if scheme in ("odd-even", "high-low"):
        first, second = second, first
    if scheme in ("low-high", "high-low"):
        return _one_after_the_other(first, second, chip)
    _same_ranges(first, second)
    blocks = zip(first.blocks, second.blocks, strict=True)
    return Image(
        tuple(Block(2 * even.start, interleaved(even.data, odd.data)) for even, odd in blocks)
    )


def split(image: Image, scheme: PairScheme, *, chip: int | None = None) -> tuple[Image, Image]:
    """Return what each of the two chips holds, first and second, at the chips' own addresses.

    Halves are split after `chip` bytes from the first, or in the middle. Raises DumpRefused
    if bytes would be left over.
    """
    if scheme == "duplicate":
        return image, image
    if scheme in ("low-high", "high-low"):
        low, high = _halves(image, chip)
    else:
        low, high = _every_other(image)
    return (high, low) if scheme in ("odd-even", "high-low") else (low, high)


def _same(first: Image, second: Image) -> Image:
    _same_ranges(first, second)
    for block, twin in zip(first.blocks, second.blocks, strict=True):
        if block.data != twin.data:
            at = first_difference(block.data, twin.data)
            raise PAIR_DIFFERS.error(
                offset=block.start + at,
                expected=f"{block.data[at]:02X} at 0x{block.start + at:04X}, as in the first chip",
                found=f"{twin.data[at]:02X} in the second",
            )
    return first


def _same_ranges(first: Image, second: Image) -> None:
    if first.ranges == second.ranges:
        return
    raise PAIR_RANGES.error(expected=f"{first.extent}, as the first chip", found=second.extent)


def _one_after_the_other(low: Image, high: Image, chip: int | None) -> Image:
    span = low.end - low.start
    size = span if chip is None else chip
    if not 0 < span <= size:
        raise PAIR_RANGES.error(expected=f"{size} bytes at most in each chip", found=low.extent)
    if high.start < low.start + size:
        if chip is None:
            _same_ranges(low, high)
        high = Image(tuple(Block(block.start + size, block.data) for block in high.blocks))
    if high.start < low.start + size or high.end > low.start + 2 * size:
        raise PAIR_RANGES.error(expected=f"{size} bytes at most in each chip", found=high.extent)
    return Image.from_blocks((*low.blocks, *high.blocks))


def _halves(image: Image, chip: int | None) -> tuple[Image, Image]:
    span = image.end - image.start
    size = span // 2 if chip is None else chip
    if not size or size * 2 < span or (chip is None and span % 2):
        raise PAIR_ODD.error(expected="two halves of one size", found=image.extent)
    middle = image.start + size
    low, high = image.part(image.start, middle), image.part(middle, image.end)
    return low, Image(tuple(Block(block.start - size, block.data) for block in high.blocks))


def _every_other(image: Image) -> tuple[Image, Image]:
    even, odd = [], []
    for block in image.blocks:
        if block.start % 2 or len(block.data) % 2:
            raise PAIR_ODD.error(
                offset=block.start,
                expected="stretches of whole 16-bit words",
                found=f"{len(block.data)} bytes from 0x{block.start:04X}",
            )
        first, second = every_other(block.data)
        even.append(Block(block.start // 2, first))
        odd.append(Block(block.start // 2, second))
    return Image(tuple(even)), Image(tuple(odd))
