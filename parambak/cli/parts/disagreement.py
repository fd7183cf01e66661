"""The page of why reads differ, and of what a vote over them left open."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parambak.answers.disagreement import ExplanationShown, VoteShown
    from parambak.cli.screen import Screen

CAUSES_SHOWN = 3
DOUBTS_SHOWN = 24


def explanation_page(screen: Screen, explanation: ExplanationShown, *, steps: bool = True) -> None:
    """Print why the reads differ, the likeliest cause first; with `steps`, what to do about it."""
    screen.heading(f"The reads differ: {explanation.text}")
    for number, cause in enumerate(explanation.causes[:CAUSES_SHOWN], start=1):
        word = "certain" if cause.certain else "likely" if number == 1 else "less likely"
        if cause.code == "cannot-tell":
            word = "not known"
        screen.say(f"{number}. {word}: {cause.text}", indent=2)
    if steps and explanation.causes:
        screen.say(f"Do next: {explanation.causes[0].next}", indent=2)
    screen.say()


def vote_page(screen: Screen, vote: VoteShown) -> None:
    """Print the bytes on which the reads are not unanimous."""
    screen.heading(f"RECONSTRUCTED by a vote over {vote.reads} reads; never verified by itself")
    screen.table(
        ("address", "read as", "chosen"),
        [
            (f"0x{doubt.at:04X}", " ".join(doubt.values), doubt.chosen or "tied")
            for doubt in vote.not_unanimous[:DOUBTS_SHOWN]
        ],
    )
    more = len(vote.not_unanimous) - DOUBTS_SHOWN
    if more > 0:
        screen.say(f"and {more} more; --json gives them all.")
    screen.say()
