"""The number printed on a chip, taken apart: maker's letters, the part's number, suffixes.

`formats/chips.md` has the rules; the letters and the parts are in the table of chips.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from parambak.dumps.limits import MAX_IMAGE
from parambak.errors import CallRefused, Fault
from parambak.keeping.state.facts import size_in
from parambak.memory.names import nearest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.keeping.chips import Chip, ChipTable

UNKNOWN = Fault(
    "chip-unknown",
    CallRefused,
    "the table of chips does not have that part number",
    "Type the number as it is printed on the chip. If the table does not have it, leave --chip "
    "out and give the size in bytes: --size with archive and correct, else --memory.",
)
ORGANISATION = Fault(
    "chip-organisation",
    CallRefused,
    "this part is read as bytes or as words of 16 bits, and the number does not state which",
    "Look at the ORG pin (high or open: 16 bits, low: 8 bits) or at the reader's setting. Then "
    "type --chip {bytes} or --chip {words}.",
)
SIZE_SHAPE = Fault(
    "chip-size-shape",
    CallRefused,
    "that is not the size of a chip",
    "Give --size as a whole number of bytes, such as 8192.",
)
SIZE_DIFFERS = Fault(
    "chip-size-differs",
    CallRefused,
    "the table of chips has another size for {chip}",
    "Read the number on the chip again. If it is right, leave --size out.",
)
LONGEST = 40
"""Characters of a number that are read."""
_SUFFIX = re.compile(r"(?:[A-Z][A-Z0-9]*)?(?:[-/. +][A-Z0-9]*)*")
"""What may follow a part's number: no digit right after it, which would be part of the number."""
_ORGANISATIONS = ("-8", "-16")


class Marking(NamedTuple):
    """What a printed number was taken as; `printed` is the number as typed, blanks made single."""

    printed: str
    chip: Chip

    @property
    def exact(self) -> bool:
        """Return whether nothing was taken apart: it is the name of the part."""
        return self.printed.casefold() == self.chip.name.casefold()

    @property
    def words(self) -> str:
        """Return what it was taken as, in words."""
        return f"{self.printed} is taken as {self.chip.name}, {self.chip.words}"


def read_marking(printed: str, table: ChipTable) -> Marking:
    """Return the part of the table that a printed number stands for.

    Raise CallRefused if it is none, or if it does not state whether its words have 8 or 16 bits.
    """
    part = _part(printed, table)
    if part is None:
        text = printed[:LONGEST]
        near = " or ".join(table[name].name for name in nearest(text, table))
        raise UNKNOWN.error(expected=near or "a part of the table", found=repr(text))
    text = _single(printed)
    if part not in table:
        by_bytes, by_words = _organised(part, table)
        raise ORGANISATION.error(
            expected=f"{by_bytes} or {by_words}", found=text, bytes=by_bytes, words=by_words
        )
    return Marking(text, table[part])


def organisations_of(printed: str, table: ChipTable) -> tuple[str, ...]:
    """Return the two parts that a printed number leaves open, by bytes and by words; else none."""
    part = _part(printed, table)
    return _organised(part, table) if part is not None and part not in table else ()


def _organised(part: str, table: ChipTable) -> tuple[str, ...]:
    return tuple(table[part + ending].name for ending in _ORGANISATIONS)


def _single(printed: str) -> str:
    """Return a number in capitals, with single blanks."""
    return " ".join(printed[: LONGEST + 1].upper().split())


def _part(printed: str, table: ChipTable) -> str | None:
    """Return the part in lower case, without its organisation if that is open; None if none."""
    text = _single(printed)
    core = max(_cores(text, table), key=len, default=None) if len(text) <= LONGEST else None
    return None if core is None else table.also.get(core, core)


def _cores(text: str, table: ChipTable) -> Iterator[str]:
    """Yield each number, in lower case, that the text may be: without letters, by its start.

    A number is a part's name, another number of it, or a name without its organisation.
    """
    for maker in ("", *table.makers):
        number = text[len(maker) :] if text.startswith(maker) else ""
        number = number.lstrip("- ") if maker else number
        for printed, begins in (("", ""), *table.beginnings):
            if number.startswith(printed):
                yield from _longest_start(begins + number[len(printed) :], table)


def _longest_start(number: str, table: ChipTable) -> Iterator[str]:
    """Yield the longest start of a number that the table has, if a suffix alone follows."""
    for end in range(len(number), 0, -1):
        start = number[:end].casefold()
        if _in_table(start, table):
            if _SUFFIX.fullmatch(number, end):
                yield start
            return


def _in_table(start: str, table: ChipTable) -> bool:
    organised = all(start + ending in table for ending in _ORGANISATIONS)
    return organised or start in table or start in table.also


class StatedChip(NamedTuple):
    """A chip as a person states it.

    `name` is that of the table, or the printed number if the table does not have it. `bytes` is
    its size, and `size` the same if it is the person's word. `words` are what the number was
    taken as.
    """

    name: str | None = None
    printed: str | None = None
    bytes: int | None = None
    size: int | None = None
    words: str | None = None


def size_typed(text: str) -> int:
    """Return the size in bytes that is typed; raise CallRefused if no chip has it."""
    size = size_in(text)
    if size is None:
        raise SIZE_SHAPE.error(expected=f"1 to {MAX_IMAGE} bytes", found=repr(text[:LONGEST]))
    return size


def stated_chip(printed: str | None, size: int | None, table: ChipTable) -> StatedChip:
    """Return the chip that a person states, by its printed number, its size in bytes, or both.

    Raise CallRefused for a number that the table does not have, unless its size is given; for
    a size that is none, or that is not that of the table.
    """
    if size is not None:
        size_typed(str(size))
    if printed is None:
        return StatedChip(bytes=size, size=size)
    try:
        marking = read_marking(printed, table)
    except CallRefused as error:
        if size is None or error.code != UNKNOWN.code:
            raise
        return StatedChip(printed, printed, size, size)
    if size not in (None, marking.chip.size):
        raise SIZE_DIFFERS.error(
            chip=marking.chip.name, expected=marking.chip.words, found=f"{size} bytes"
        )
    words = None if marking.exact else marking.words
    return StatedChip(marking.chip.name, printed, marking.chip.size, words=words)
