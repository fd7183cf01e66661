"""Why reads differ, and what a vote over them left open: parts of several answers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Part

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.memory.image import Image
    from parambak.reads.vote import Vote


class CauseShown(Part, frozen=True):
    """One cause; `share` is how much of the difference it explains, 0 to 1, three decimals."""

    code: str
    share: str
    certain: bool
    text: str
    next: str


class ExplanationShown(Part, frozen=True):
    """Why the reads differ: a sentence, and the causes, the likeliest first."""

    text: str
    causes: tuple[CauseShown, ...]


class DoubtShown(Part, frozen=True):
    """A byte on which reads are not unanimous: its values, and the vote's, null where tied."""

    at: int
    values: tuple[str, ...]
    chosen: str | None


class VoteShown(Part, frozen=True):
    """How many reads voted, and every byte that they are not unanimous on."""

    reads: int
    not_unanimous: tuple[DoubtShown, ...]


def explanation_of(images: Sequence[Image], names: Sequence[str]) -> ExplanationShown | None:
    """Return why the reads differ, None where they are the same or there is one alone."""
    if len(images) < 2 or all(image == images[0] for image in images):
        return None
    from parambak.reads.agreement.explain import explain  # noqa: PLC0415 - where reads differ

    explanation = explain(images, names)
    causes = (
        CauseShown(cause.code, f"{cause.figure:.3f}", cause.certain, cause.text, cause.next)
        for cause in explanation.causes
    )
    return ExplanationShown(explanation.text, tuple(causes))


def vote_shown(vote: Vote | None) -> VoteShown | None:
    """Return what a vote left open, None where none was taken."""
    if vote is None:
        return None
    doubts = (
        DoubtShown(
            doubt.address,
            tuple(f"{value:02X}" for value in doubt.values),
            None if doubt.chosen is None else f"{doubt.chosen:02X}",
        )
        for doubt in vote.not_unanimous
    )
    return VoteShown(vote.reads, tuple(doubts))
