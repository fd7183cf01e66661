"""`swap close`: contents proven and functions tested, or given up with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import faults, store
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.bodies import FunctionTest
from parambak.keeping.entries import WHEREABOUTS
from parambak.memory.counted import counted
from parambak.swap import acts

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
    taken = 0
    if abandoned:
        position = acts.abandon(vault, where, tests=given, by=by, reason=reason)
    else:
        position, taken = acts.close(
            vault, where, tests=given, by=by, reason=reason, old_card_to=old_card_to
        )
    outcome = "abandoned" if abandoned else "closed"
    return Answer(
        {
            "where": position.where,
            "outcome": outcome,
            "reads_taken_in": taken,
            "tests": [{"name": each.name, "result": each.result} for each in given],
        },
        lambda screen: _page(screen, position.where, taken, given, abandoned=abandoned),
        warnings=store.warnings_of(vault),
    )


def _test(text: str) -> FunctionTest:
    name, _, told = text.partition("=")
    result, _, more = told.partition(":")
    if not name.strip() or result.strip().lower() not in RESULTS:
        raise faults.TEST_SHAPE.at(expected="NAME=passed or NAME=failed", found=repr(text[:80]))
    return FunctionTest(name=name.strip(), result=result.strip().lower(), text=more.strip() or None)


def _page(
    screen: Screen, where: str, taken: int, tests: list[FunctionTest], *, abandoned: bool
) -> None:
    if abandoned:
        screen.mind(f"The swap at {where} is given up, and that is on record.")
        screen.say("Nothing that was read back became a copy. The old card's copy stands.")
        return
    screen.facts(
        [
            ("contents", f"match by bytes; {counted(taken, 'read-back')} on record as reads"),
            ("functions", f"{counted(len(tests), 'test')} passed"),
        ],
        indent=0,
    )
    screen.good(f"The swap at {where} is CLOSED.")
    screen.say("Keep the old card bagged until the ship says otherwise. Send the vault to a place.")
