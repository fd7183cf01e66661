"""`swap choose`: which copy is meant, where it is not the newest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import deviations
from parambak.cli.parts.runs import run_document, run_rows
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.differences.bytes import runs
from parambak.keeping.assess import Assessor
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.swap import recording
from parambak.swap.state import accepted_words, notes_on, swap_state

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.differences.bytes import Run
    from parambak.keeping.state.model import Copy
    from parambak.swap.state import SwapState

MOST_RUNS = 20  # on the page; --json has them all


@parambak_command(
    "choose",
    example="parambak swap choose grebe/port-thruster/U12@previous --by 'J. Doe' --why TEXT",
)
@click.argument("copy", metavar="COPY")
@click.option("--by", metavar="PERSON", required=True, help="Who chooses.")
@click.option("--why", metavar="TEXT", required=True, help="Why not the newest.")
@pass_settings
def command(settings: Settings, /, *, copy: str, by: str, why: str) -> Answer:
    """Mean an older COPY in the open swap, and show how it differs from the newest."""
    vault = store.open_vault(settings)
    position, chosen = select.find_copy(fleet(vault), copy)
    assessor = Assessor(vault, store.chip_table())
    newest = select.choose(position, "latest")
    before, after = assessor.image(newest.image), assessor.image(chosen.image)
    found = runs(before, after)
    verdict = assessor.verdict(position, chosen)
    name = select.copy_name(position, chosen)
    recording.choose(vault, position.where, chosen, why=why, by=by)
    standing_now = swap_state(fleet(vault), assessor, position.where)
    said = accepted_words(assessor, standing_now.swap)
    stale = _stale(standing_now, chosen)
    return Answer(
        {
            "copy": name,
            "newest": select.copy_name(position, newest),
            "verified": verdict.verified,
            "changed_bytes": sum(run.length for run in found),
            "runs": [run_document(run) for run in found],
        },
        lambda screen: _page(screen, name, found, said, verified=verdict.verified),
        warnings=(*store.warnings_of(vault), *notes_on(vault, standing_now), *stale),
    )


def _stale(now: SwapState, chosen: Copy) -> tuple[str, ...]:
    """Say that a file of another copy was released, and that what was read back counts no more."""
    swap = now.swap
    if swap is None or not swap.released or swap.released[-1].body.image == chosen.image:
        return ()
    return (
        (
            "a file of another copy was released in this swap: throw it away, write it anew with "
            "`swap load-file`, and read the card back again"
        ),
    )


def _page(
    screen: Screen, name: str, found: tuple[Run, ...], said: tuple[str, ...], *, verified: bool
) -> None:
    deviations(screen, said)
    screen.heading(f"Meant from here on: {name}")
    if found:
        screen.say("It differs from the newest copy in:")
        rows = run_rows(found)
        screen.table(("address", "bytes", "newest", "meant"), rows[:MOST_RUNS], right=(1,))
        if len(rows) > MOST_RUNS:
            screen.say(f"and {len(rows) - MOST_RUNS} stretches more; --json lists them all.")
    else:
        screen.say("It is the newest copy.")
    screen.say()
    if verified:
        screen.good("It is verified. `parambak swap check` goes by it now.")
    else:
        screen.bad("It is NOT VERIFIED. `parambak swap check` says what is wanting.")
