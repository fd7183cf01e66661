"""`swap close`: contents proven and functions tested, or given up with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.bodies import FunctionTest
from parambak.keeping.state.cards import WHEREABOUTS
from parambak.keeping.state.fold import fleet
from parambak.memory.counted import counted
from parambak.swap import recording
from parambak.swap.state import accepted_words, others_words
from parambak.swap.swaps import newest_open, swaps_at

if TYPE_CHECKING:
    from parambak.cli.screen import Screen

RESULTS = ("passed", "failed")


@parambak_command(
    "close",
    example="parambak swap close grebe/port-thruster/U12 --by 'J. Doe' --test 'stop=passed'",
)
@click.argument("where", metavar="WHERE")
@click.option("--by", metavar="PERSON", required=True, help="Who did the tests and closes it.")
@click.option(
    "--test",
    "tests",
    metavar="NAME=RESULT",
    multiple=True,
    help="A function test: passed or failed; more words may follow a colon.",
)
@click.option("--abandoned", is_flag=True, help="The swap is given up; with --reason.")
@click.option("--reason", metavar="TEXT", help="Why it was given up, or a remark.")
@click.option(
    "--old-card-to",
    type=click.Choice(WHEREABOUTS[1:]),
    default="ashore",
    show_default=True,
    help="Where the old card goes.",
)
@pass_settings
def command(  # noqa: PLR0913 - one argument an option
    settings: Settings,
    /,
    *,
    where: str,
    by: str,
    tests: tuple[str, ...],
    abandoned: bool,
    reason: str | None,
    old_card_to: str,
) -> Answer:
    """Close the open swap at WHERE.

    That the contents match, by bytes and two read-backs made apart, is one thing; that
    every function was tested is another. Only both close it. What was read back then
    becomes the newest copy, and the whereabouts of the cards are put on record.
    """
    given = [_test(text) for text in tests]
    vault = store.open_vault(settings)
    assessor = Assessor(vault, store.chip_table())
    said, way_back, notes = _so_far(assessor, where)
    if abandoned:
        position = recording.abandon(vault, where, tests=given, by=by, reason=reason)
        closed = recording.Closed(position, 0, by_values=False, cards=(), notes=())
    else:
        closed = recording.close(
            vault, where, tests=given, by=by, reason=reason, old_card_to=old_card_to
        )
        notes += _newest(assessor, where)
    return Answer(
        {
            "where": closed.position.where,
            "outcome": "abandoned" if abandoned else "closed",
            "reads_taken_in": closed.reads,
            "tests": [{"name": each.name, "result": each.result} for each in given],
            "bytes_compared": not abandoned and not closed.by_values,
            "cards": list(closed.cards),
            "deviations": list(said),
        },
        lambda screen: (
            _given_up(screen, closed.position.where, said, way_back)
            if abandoned
            else _page(screen, closed, given, said)
        ),
        warnings=(*store.warnings_of(vault), *closed.notes, *notes),
    )


def _so_far(assessor: Assessor, where: str) -> tuple[tuple[str, ...], str | None, tuple[str, ...]]:
    """Return what was accepted in the swap, its way back as told, and words on further swaps."""
    there = recording.site_of(fleet(assessor.vault), where)
    every = swaps_at(assessor.vault, there.vessel, there.position)
    swap = newest_open(every)
    way_back = swap.answers.get("way-back") if swap is not None else None
    return (
        accepted_words(assessor, swap),
        way_back.text if way_back is not None else None,
        others_words([each for each in every if each.end is None][:-1]),
    )


def _newest(assessor: Assessor, where: str) -> tuple[str, ...]:
    """Say where the newest copy is not what was read back last, or is not verified."""
    position = recording.site_of(fleet(assessor.vault), where).position
    copy = position.latest
    if copy is None:
        return ()
    unmet = assessor.verdict(position, copy).unmet
    if not unmet:
        return ()
    listed = "; ".join(f"{each.condition}: {each.text}" for each in unmet)
    return (f"the newest copy, {select.copy_name(position, copy)}, is NOT VERIFIED: {listed}",)


def _test(text: str) -> FunctionTest:
    name, _, told = text.partition("=")
    result, _, more = told.partition(":")
    if not name.strip() or result.strip().lower() not in RESULTS:
        raise faults.TEST_SHAPE.error(expected="NAME=passed or NAME=failed", found=repr(text[:80]))
    return FunctionTest(name=name.strip(), result=result.strip().lower(), text=more.strip() or None)


def _given_up(screen: Screen, where: str, said: tuple[str, ...], way_back: str | None) -> None:
    deviations(screen, said)
    screen.mind(f"The swap at {where} is given up, and that is on record.")
    screen.say("Nothing that was read back became a copy. The old card's copy stands.")
    told = f": {way_back}" if way_back is not None else ", with power off"
    screen.say(f"The old card goes back in by the way back{told}. Test its functions too.")


def _page(
    screen: Screen, closed: recording.Closed, tests: list[FunctionTest], said: tuple[str, ...]
) -> None:
    where, taken = closed.position.where, closed.reads
    deviations(screen, said)
    by = "match by bytes"
    if closed.by_values:
        by = "carried over by VALUES of two layouts, no byte compared with the copy meant"
    facts = [
        ("contents", f"{by}; {counted(taken, 'read-back')} on record as reads"),
        ("functions", f"{counted(len(tests), 'test')} passed"),
    ]
    screen.facts([*facts, *(("card", each) for each in closed.cards)], indent=0)
    screen.good(f"The swap at {where} is CLOSED.")
    screen.say("Keep the old card bagged until the ship says otherwise. Send the vault to a place.")
