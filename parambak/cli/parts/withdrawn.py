"""The lines of what was withdrawn, and of what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.answers.withdrawn_shown import LeftShown, WithdrawnRecord, WithdrawnShown
    from parambak.cli.screen import Screen

STRUCK = "~~"
"""The mark before and after a text that is struck through."""
MOST = 20  # records that are listed


def withdrawn_lines(screen: Screen, withdrawn: Sequence[WithdrawnShown]) -> None:
    """Print the records that no longer count, the first of many."""
    for record in withdrawn[:MOST]:
        at = f"{record.where}: " if record.where else ""
        screen.say(f"{at}{STRUCK}{record.text}{STRUCK} ({record.record[:8]})", indent=2)
    if len(withdrawn) > MOST:
        screen.say(f"and {len(withdrawn) - MOST} more", indent=2)


def left_lines(screen: Screen, left: Iterable[LeftShown]) -> None:
    """Print what still counts at the positions."""
    for at in left:
        if at.reads:
            copies = counted(at.copies, "copy", "copies")
            screen.say(f"Left at {at.where}: {counted(at.reads, 'read')} in {copies}.")
            state = "verified" if at.verified else f"not verified: {'; '.join(at.unmet)}"
            screen.say(f"The newest copy there is {state}.", indent=2)
        else:
            screen.say(f"Left at {at.where}: nothing.")


def struck_lines(screen: Screen, withdrawn: Sequence[WithdrawnRecord]) -> None:
    """Print what was withdrawn, struck through, with who withdrew it and why."""
    screen.say()
    screen.heading("Withdrawn: still on record, counts nowhere")
    for record in withdrawn:
        at = f"{record.where}: " if record.where else ""
        screen.say(f"{at}{STRUCK}{record.text}{STRUCK} ({record.record[:8]})", indent=2)
        by = f" by {record.withdrawn_by}" if record.withdrawn_by else ""
        why = f": {record.reason}" if record.reason else ""
        moved = f"; it is at {record.moved_to} now" if record.moved_to else ""
        screen.say(f"withdrawn on {record.withdrawn_on}{by}{why}{moved}", indent=4)
    if not withdrawn:
        screen.say("nothing", indent=2)
