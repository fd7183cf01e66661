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

_CLEAN: Final = "Clean the pins and the socket, reseat the chip, and read it twice more."
_NEXT: Final = {
    WEAK_CELLS: (
        "Read the chip three times or more and take the vote; check the supply voltage chosen. "
        "Such a chip is failing: replace it soon."
    ),
    DATA_LINE: f"{_CLEAN} Look for a bent pin, or a joint open on that line.",
    ADDRESS_LINE: f"{_CLEAN} Look for a bent pin on that line; check the device chosen.",
    CONTACT_LOST: f"{_CLEAN} Do not touch chip or clip while it is read.",
    BYTES_SWAPPED: "Give both reads the same word order on the reader, and read again.",
    SHIFTED: "Check base address and offset chosen on the reader and the cable, and read again.",
    HALVES_EXCHANGED: (
        "Check the order of the two chips or banks, and the start address chosen; read again."
    ),
    ANOTHER_CHIP: "Check the markings and the position of the chip that was read; read it again.",
    CUT_SHORT: "Check the device and the length chosen on the reader, and read the whole again.",
    REPEATED: "Choose the device by its marking: its size is wrong in one of the reads.",
    CANNOT_TELL: (
        "Read it three times or more, reseated each time, and see which reads agree. If the "
        "chip is in a powered unit, its program may be writing to it: switch it off first."
    ),
}


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause that would make the reads differ so.

    `figure` is the share (0 to 1) of the differing bytes that it explains, `text` a sentence
    with the evidence, `next` what to do, `certain` whether nothing else that is known here
    comes near to explaining the same.
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

    one: int
    other: int
    differing: int
    causes: tuple[Cause, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why reads differ: causes for all together, the likeliest first, and pair by pair.

    `causes` is empty where all reads are the same, and begins with `cannot-tell` where
    nothing explains them. `groups` are the numbers, from 0, of reads that are the same.
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
    """A cause as one of the tests puts it forward.

    `gain` is how many bits it saves in telling one read, given the other, against naming each
    differing byte; `sure` whether its own evidence would let it be called certain.
    """

    code: str
    gain: float
    share: float
    text: str
    sure: bool
