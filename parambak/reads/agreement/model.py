"""What an explanation consists of, the causes' codes, and what to do about each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

WEAK_CELLS: Final = "weak-cells"
DATA_LINE: Final = "data-line"
ADDRESS_LINE: Final = "address-line"
CONTACT_LOST: Final = "contact-lost"
BYTES_SWAPPED: Final = "bytes-swapped"
SHIFTED: Final = "shifted"
HALVES_EXCHANGED: Final = "halves-exchanged"
ANOTHER_CHIP: Final = "another-chip"
CUT_SHORT: Final = "cut-short"
REPEATED: Final = "repeated"
CANNOT_TELL: Final = "cannot-tell"

_CLEAN: Final = "Clean the pins and the socket. Reseat the chip and read it twice more."
_NEXT: Final = {
    WEAK_CELLS: (
        "Read the chip three times or more, and archive all dumps in one call with `--vote`. Check "
        "the supply voltage selected on the reader. The chip may be failing: plan to replace it."
    ),
    DATA_LINE: f"{_CLEAN} Look for a bent pin, or an open joint, on that line.",
    ADDRESS_LINE: (
        f"{_CLEAN} Look for a bent pin on that line. Check the device selected on the reader."
    ),
    CONTACT_LOST: f"{_CLEAN} Do not touch the chip or the clip during a read.",
    BYTES_SWAPPED: "Select one word order on the reader for both reads. Read again.",
    SHIFTED: (
        "Check the base address and the offset selected on the reader, and the cable. Read again."
    ),
    HALVES_EXCHANGED: (
        "Check the order of the two chips or banks, and the start address selected. Read again."
    ),
    ANOTHER_CHIP: "Check the markings and the position of the chip that was read. Read it again.",
    CUT_SHORT: (
        "Check the device and the length selected on the reader. Read the whole chip again."
    ),
    REPEATED: "Select the device by its marking: its size is wrong in one of the reads.",
    CANNOT_TELL: (
        "Read the chip three times or more, reseated each time. See which reads agree. If the "
        "chip is in a powered unit, switch the unit off first: its program may write to the chip."
    ),
}


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause that can explain how the reads differ.

    `figure` is the share (0 to 1) of the differing bytes that it explains, `text` a sentence
    with the evidence, `next` what to do, `certain` whether no other cause comes near to it.
    """

    code: str
    figure: float
    text: str
    certain: bool

    @property
    def next(self) -> str:
        """Return what to do about it."""
        return _NEXT[self.code]


@dataclass(frozen=True, slots=True)
class PairExplanation:
    """Two of the reads, by their numbers from 0, and the causes ranked for these two."""

    first: int
    second: int
    differing: int
    causes: tuple[Cause, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why reads differ: causes for all together, the likeliest first, and pair by pair.

    `causes` is empty if all reads are the same, and begins with `cannot-tell` if nothing
    explains them. `groups` are the numbers, from 0, of reads that are the same.
    """

    causes: tuple[Cause, ...]
    groups: tuple[tuple[int, ...], ...]
    pairs: tuple[PairExplanation, ...]
    text: str

    @property
    def same(self) -> bool:
        """Return whether all the reads are the same."""
        return len(self.groups) < 2


class Claim(NamedTuple):
    """A cause that one of the tests proposes.

    `gain` is how many bits shorter it makes the description of one read by the other, compared
    with a list of the differing bytes; `sure` whether its evidence is enough to call it certain.
    """

    code: str
    gain: float
    share: float
    text: str
    sure: bool
