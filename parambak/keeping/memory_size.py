"""The size of a position's memory: by its chip, by a person's word, or by its layout."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.keeping.state.bodies import SizeEntry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.keeping.chips import Chip

BY_CHIP, BY_PERSON, BY_LAYOUT = "chip", "person", "layout"


def memory_size(
    chip: str | None,
    stated: int | None,
    number: int,
    chips: Mapping[str, Chip],
    layout_memory: int | None,
) -> SizeEntry | None:
    """Return the size of a memory on `number` chips, and its source; None without any source.

    `chip` is the part's name, and `stated` the size of each chip by a person's word.
    `layout_memory` is that of the whole memory.
    """
    part = chips.get(chip.casefold()) if chip else None
    if part is not None:
        return SizeEntry(bytes=part.size * number, by=BY_CHIP, chip=part.name, chips=number)
    if stated is not None:
        return SizeEntry(bytes=stated * number, by=BY_PERSON, chip=chip, chips=number)
    if layout_memory is not None:
        return SizeEntry(bytes=layout_memory, by=BY_LAYOUT)
    return None


def source_of(size: SizeEntry) -> str:
    """Return the source of a size, in words, such as "the chip 28C64"."""
    if size.by == BY_LAYOUT:
        return "the layout"
    part = size.chip.upper() if size.chip else "without a part number"
    chip = f"the chip {part}" if size.chips == 1 else f"{size.chips} chips {part}"
    return chip if size.by == BY_CHIP else f"{chip}, by a person's word"
