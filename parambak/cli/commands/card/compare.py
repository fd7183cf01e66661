"""`card compare`: a new card's sheet compared with the unit's, entry by entry."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.card.compare import CardCompareQuestion
from parambak.cli.command import asks
from parambak.memory.counted import counted
from parambak.swap.card_sheet import DEFER, NOT_ASKED, NOT_STATED

if TYPE_CHECKING:
    from parambak.answers.card.compare import CardCompareAnswer
    from parambak.cli.screen import Screen


@asks(CardCompareQuestion, example="parambak card compare grebe/port-thruster --new-card NEW.TOML")
@click.argument("where", metavar="VESSEL/UNIT")
@click.option("--new-card", metavar="SHEET", help="The new card's sheet.")
@click.option("--new-card-serial", metavar="SERIAL", help="A new card whose sheet is on record.")
def command(screen: Screen, compared: CardCompareAnswer) -> None:
    """Compare a new card's sheet with that of the unit, entry by entry.

    The exit code is 0 if every entry that either sheet states is the same on both, else 1.
    """
    screen.heading(f"The new card's sheet compared with that of {compared.where}")
    screen.table(
        ("entry", "unit needs", "new card has", "answer"),
        [
            (
                entry.entry,
                NOT_STATED if entry.unit is None else entry.unit,
                NOT_STATED if entry.card is None else entry.card,
                entry.state.upper(),
            )
            for entry in compared.entries
        ],
    )
    screen.say()
    if compared.differing:
        screen.say("What differs, and what that may mean:")
        differing = (entry for entry in compared.entries if entry.state == "differs")
        screen.points(f"{entry.entry}: {entry.consequence}" for entry in differing)
    if compared.not_stated:
        names = ", ".join(e.entry for e in compared.entries if e.state == NOT_STATED)
        screen.say(f"{NOT_ASKED[:1].upper()}{NOT_ASKED[1:]}: {names}")
    entries = counted(len(compared.entries), "entry", "entries")
    if compared.same:
        screen.good(f"The same: all {entries}.")
        screen.say(f"Only the sheets were compared, not the cards. {DEFER}")
        return
    screen.say(DEFER)
    counts = [(compared.differing, "DIFFER"), (compared.not_stated, "NOT STATED on one of the two")]
    parts = "; ".join(f"{count} {word}" for count, word in counts if count)
    screen.bad(f"Of {entries}: {parts}.")
