"""`catalogue`: what the vault holds, and which of it is verified."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.catalogue import CatalogueQuestion
from parambak.cli.command import asks
from parambak.keeping.verified import AS_READ, FADING, RECONSTRUCTED, UNSTABLE, VERIFIED, WHY
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.answers.catalogue import CatalogueAnswer, HolderShown, PositionShown
    from parambak.cli.screen import Screen


STATE_WORDS = {
    VERIFIED: "verified",
    AS_READ: "verified as read",
    FADING: "FADING",
    UNSTABLE: "UNSTABLE",
    RECONSTRUCTED: "RECONSTRUCTED",
}


@asks(CatalogueQuestion, example="parambak catalogue grebe/port-thruster")
@click.argument("where", metavar="[WHERE]", required=False)
def command(screen: Screen, catalogue: CatalogueAnswer) -> None:
    """List the positions at WHERE, with their copies.

    WHERE is VESSEL, VESSEL/UNIT or VESSEL/UNIT/POSITION. Without it, every position is listed.
    """
    positions, summary = catalogue.positions, catalogue.summary
    if not positions:
        screen.say("Nothing is on record here yet. Begin with `parambak archive`.")
        return
    screen.table(
        ("where", "copies", "read", "SHA-256", "last checked", "state"),
        [_row(position) for position in positions],
        right=(1,),
    )
    screen.say()
    for position in positions:
        _unmet(screen, position)
    number = counted(len(positions), "position")
    if len(positions) > 1:
        ships = counted(summary.vessels, "vessel")
        copies = counted(summary.copies, "copy", "copies")
        screen.say(
            f"{ships}, {number}, {copies}. Longest without a new read: "
            f"{summary.oldest.where}, read on {summary.oldest.read_on}."
            if summary.oldest
            else f"{ships}, {number}, no copy."
        )
    _held(screen, positions)
    for conflict in catalogue.conflicts:
        values = " and ".join(conflict.values)
        screen.say(
            f"{conflict.where}: the records state {conflict.fact} as {values}. "
            "Correct it with `parambak correct`."
        )
    _special_states(screen, positions)
    _verdict(screen, positions, len(summary.not_verified), number)
    if len(positions) == 1 and positions[0].copies > 1:
        screen.say(f"To see what changed: `parambak history {positions[0].where}`.")
    elif any(position.copies > 1 for position in positions):
        screen.say("To see what changed at one: `parambak history WHERE`.")
        screen.say("To see what to do next: `parambak due`.")


def _special_states(screen: Screen, positions: Sequence[PositionShown]) -> None:
    """Print which positions are unstable, fading, or verified without a layout."""
    for state in (UNSTABLE, FADING, AS_READ):
        of_state = [position.where for position in positions if position.state == state]
        if of_state:
            show = screen.say if state == AS_READ else screen.bad
            word = STATE_WORDS[state]
            show(f"{word[0].upper()}{word[1:]}: {', '.join(of_state)}. {WHY[state]}.")


def _verdict(screen: Screen, positions: Sequence[PositionShown], failed: int, number: str) -> None:
    if failed:
        screen.bad(f"NOT VERIFIED: the latest copy of {failed} of {number}.")
        return
    states = [position.state for position in positions]
    if all(state == AS_READ for state in states):
        checks = "Without a layout no stored check is calculated"
    elif AS_READ in states:
        checks = "The stored checks hold wherever there is a layout"
    else:
        checks = "The stored checks hold"
    text = f"Verified: the latest copy of {number}. Separate reads agree. {checks}."
    fading = states.count(FADING)
    if fading:
        screen.warn(f"{text} Cells may be fading in {fading} of them: see above.")
    else:
        screen.good(text)


def _row(position: PositionShown) -> tuple[str, ...]:
    return (
        position.where,
        str(position.copies),
        position.read_on or "never",
        (position.sha256 or "")[:8],
        position.hashed_on or "never",
        _state(position),
    )


def _state(position: PositionShown) -> str:
    return STATE_WORDS.get(position.state or "", "NOT VERIFIED")


def _unmet(screen: Screen, position: PositionShown) -> None:
    for unmet in position.unmet:
        screen.say(f"{position.where}: {unmet.condition}: {unmet.text}", indent=2)
    if position.fading:
        screen.say(f"{position.where}: FADING: {', '.join(position.fading)}", indent=2)
    for note in position.notes:
        screen.say(f"{position.where}: note: {note}", indent=2)


def _held(screen: Screen, positions: Sequence[PositionShown]) -> None:
    """Print how many latest copies each backup location held, and when that was proven."""
    by_location: dict[str, list[HolderShown]] = {}
    for position in positions:
        for holder in position.locations:
            by_location.setdefault(holder.location, []).append(holder)
    for location, held in sorted(by_location.items()):
        dates = sorted({holder.hashed_on or f"{holder.on} (NOT CHECKED)" for holder in held})
        since = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}"
        of = counted(len(positions), "position")
        screen.say(
            f"{location} held the latest copy of {len(held)} of {of}, last checked there {since}."
        )
    alone = [position.where for position in positions if not position.locations]
    if by_location and alone:
        screen.say(f"In no backup location: {', '.join(alone)}.")
