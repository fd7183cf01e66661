"""Port and starboard mixed up: whether a dump fits another position far better than its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.compare.bytes import differing_bytes
from parambak.errors import CallRefused, Fault
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.memory.image import Image, Range

FITS_ELSEWHERE = Fault(
    "position-fits-elsewhere",
    CallRefused,
    "this dump fits another position far better than the one named",
    "Make sure which chip was read. If it is right as typed, give --position-confirmed.",
)

# A few bytes apart from its own latest copy is an ordinary visit; below this
# number only an exact match elsewhere counts as a better fit.
FEW_BYTES = 8
FAR_BETTER = 4


class Fit(NamedTuple):
    """How far an image is from the latest copy of one position, in bytes."""

    copy: str
    differing: int


def refuse_better_fit(
    image: Image,
    own: tuple[str, Image],
    others: Iterable[tuple[str, Image]],
    moving: Sequence[Range],
) -> None:
    """Raise CallRefused, with the figures, where another position fits far better.

    `own` and `others` are each a copy's name and image; `moving` are the
    ranges that are expected to change, which are left out of the comparison.
    """
    mine = _fit(image, own, moving)
    best = min(
        (_fit(image, other, moving) for other in others),
        key=lambda fit: fit.differing,
        default=None,
    )
    if best is not None and _far_better(best.differing, mine.differing):
        raise FITS_ELSEWHERE.error(
            expected=f"near {mine.copy}, from which it differs in {mine.differing} bytes",
            found=f"nearer to {best.copy}, from which it differs in "
            f"{counted(best.differing, 'byte')}",
        )


def _fit(image: Image, copy: tuple[str, Image], moving: Sequence[Range]) -> Fit:
    name, other = copy
    return Fit(name, differing_bytes(image.without(moving), other.without(moving)))


def _far_better(elsewhere: int, here: int) -> bool:
    if elsewhere == 0:
        return here > 0
    return here >= FEW_BYTES and elsewhere * FAR_BETTER <= here
