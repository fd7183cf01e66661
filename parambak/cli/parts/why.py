"""Why reads differ, and what a vote over them left open: for the pages that show it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.memory.image import Image
    from parambak.reads.agreement.model import Explanation
    from parambak.reads.vote import Vote

CAUSES_SHOWN = 3
DOUBTS_SHOWN = 24


def explained(images: Sequence[Image], names: Sequence[str]) -> Explanation | None:
    """Return why the reads differ, None where they are the same or there is one alone."""
    if len(images) < 2 or all(image == images[0] for image in images):
        return None
    from parambak.reads.agreement.explain import explain  # noqa: PLC0415 - where reads differ

    return explain(images, names)


def explanation_document(found: Explanation | None) -> dict[str, Any] | None:
    """Return an explanation for scripts: the causes, likeliest first, with their figures."""
    if found is None:
        return None
    return {
        "text": found.text,
        "causes": [
            {
                "code": cause.code,
                "share": f"{cause.figure:.3f}",
                "certain": cause.certain,
                "text": cause.text,
                "next": cause.next,
            }
            for cause in found.causes
        ],
    }


def explanation_page(screen: Screen, found: Explanation) -> None:
    """Print why the reads differ, the likeliest cause first, and what to do about it."""
    screen.heading(f"The reads differ: {found.text}")
    for number, cause in enumerate(found.causes[:CAUSES_SHOWN], start=1):
        word = "certain" if cause.certain else "likely" if number == 1 else "less likely"
        if cause.code == "cannot-tell":
            word = "not known"
        screen.say(f"{number}. {word}: {cause.text}", indent=2)
    if found.causes:
        screen.say(f"Do next: {found.causes[0].next}", indent=2)
    screen.say()


def vote_document(vote: Vote | None) -> dict[str, Any] | None:
    """Return for scripts how many reads voted, and every byte they are not unanimous on."""
    if vote is None:
        return None
    return {
        "reads": vote.reads,
        "not_unanimous": [
            {
                "at": doubt.address,
                "values": [f"{value:02X}" for value in doubt.values],
                "chosen": None if doubt.chosen is None else f"{doubt.chosen:02X}",
            }
            for doubt in vote.not_unanimous
        ],
    }


def vote_page(screen: Screen, vote: Vote) -> None:
    """Print the bytes on which the reads are not unanimous."""
    screen.heading(f"RECONSTRUCTED by a vote over {vote.reads} reads; never verified by itself")
    screen.table(
        ("address", "read as", "chosen"),
        [
            (
                f"0x{doubt.address:04X}",
                " ".join(f"{value:02X}" for value in doubt.values),
                "tied" if doubt.chosen is None else f"{doubt.chosen:02X}",
            )
            for doubt in vote.not_unanimous[:DOUBTS_SHOWN]
        ],
    )
    more = len(vote.not_unanimous) - DOUBTS_SHOWN
    if more > 0:
        screen.say(f"and {more} more; --json gives them all.")
    screen.say()
