"""`swap read-back`: whether the card is loaded correctly."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.swap.read_back import SwapReadBackQuestion, answer
from parambak.cli.command import FORMAT_HELP, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.swap.check import CAUTION, deviations
from parambak.cli.parts import by_values
from parambak.cli.parts.accept import accept_options
from parambak.cli.parts.disagreement import explanation_page
from parambak.cli.parts.runs import run_rows
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.reads.pairs import PAIR_SCHEMES
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER, STAGES

if TYPE_CHECKING:
    from parambak.answers.swap.read_back import CheckShown, DumpReadBack, SwapReadBackAnswer
    from parambak.cli.screen import Screen


@parambak_command(
    "read-back", example="parambak swap read-back grebe/port-thruster/U12 NEWCARD.HEX"
)
@click.argument("where", metavar="WHERE")
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option(
    "--stage",
    type=click.Choice(STAGES),
    default=BEFORE_POWER,
    show_default=True,
    help="Before power-up nothing may differ. After it, counters and clocks may.",
)
@click.option("--format", "format_name", type=FormatName(), help=FORMAT_HELP)
@click.option("--profile", metavar="FILE", help="The reader's profile: how its files are read.")
@click.option(
    "--pair", type=click.Choice(PAIR_SCHEMES), help="Two chips hold the memory: dumps in pairs."
)
@accept_options(by="Who read the card.")
@click.option(
    "--layout",
    metavar="FILE",
    help="The card's own layout, if its software moved the fields: compares values, not bytes.",
)
@click.option(
    "--old-layout",
    metavar="FILE",
    help="With --layout: the layout of the selected copy, if not the position's own.",
)
@click.option("--renames", metavar="FILE", help="With --layout: a table, old name = new name.")
@pass_settings
def command(settings: Settings, /, where: str, dumps: tuple[str, ...], **options: Any) -> Answer:
    """Compare each DUMP of the loaded card with the selected copy of WHERE.

    The selected copy is that of `swap select`. Without it, the last copy of `swap load-file`
    counts, else the newest one. The conditions of the swap are those of `swap check`. If no swap
    is open, the latest verified copy counts.
    """
    return settings.ask(answer, SwapReadBackQuestion(where=where, dumps=dumps, **options), _page)


def _page(screen: Screen, read: SwapReadBackAnswer) -> None:
    deviations(screen, read.deviations)
    screen.facts([("selected", read.copy), ("stage", read.stage)], indent=0)
    for dump in read.dumps:
        screen.say()
        screen.heading(dump.file)
        _dump(screen, dump)
    if read.bytes_compared:
        screen.say()
        _by_bytes(screen, read)
    else:
        _by_values(screen, read)
    for doubt in read.doubts:
        screen.warn(f"DOUBT: {doubt}.")
    if read.proven:
        screen.say("`parambak swap close` accepts these read-backs as proof of the contents.")
    screen.say(CAUTION)


def _dump(screen: Screen, dump: DumpReadBack) -> None:
    if dump.values is not None:
        by_values.tables(screen, dump.values)
        for check in dump.failing:
            screen.say(_check_line(check), indent=2)
        return
    _differences(screen, dump)
    for check in dump.failing:
        screen.say(f"{_check_line(check)} (in what was read)", indent=2)
    if dump.explanation is not None:
        screen.say()
        explanation_page(screen, dump.explanation, steps=False)


def _check_line(check: CheckShown) -> str:
    return f"stored check {check.check} holds: {MARKS[check.holds]}"


def _differences(screen: Screen, dump: DumpReadBack) -> None:
    if not dump.differences and not dump.running_differences:
        screen.say("No byte differs.")
        return
    rows = [
        (word, *row, run.fields)
        for word, runs in (("NO", dump.differences), ("running", dump.running_differences))
        for run, row in zip(runs, run_rows(runs), strict=False)
    ]
    screen.table(("may differ", "address", "bytes", "selected", "read", "field"), rows, right=(2,))


def _by_values(screen: Screen, read: SwapReadBackAnswer) -> None:
    if read.loaded_correctly:
        screen.good(f"LOADED CORRECTLY, BY VALUES: every value was carried over, {read.stage}.")
    else:
        screen.bad("NOT LOADED CORRECTLY. Do not put the unit into service.")
        screen.say(
            "Ask the maker about each value above. To leave one out, write `name = false` in the "
            "table of renames."
        )
    screen.say(by_values.WORD_NEEDED)


def _by_bytes(screen: Screen, read: SwapReadBackAnswer) -> None:
    if not read.loaded_correctly:
        screen.bad("NOT LOADED CORRECTLY. Do not put the unit into service.")
        _next(screen, read)
        return
    screen.good(f"LOADED CORRECTLY: no byte differs that must be the same, {read.stage}.")
    if read.stage == AFTER_POWER:
        screen.say("Do the function tests before return to service.")
    else:
        screen.say("Power up with outputs inhibited, then read back with --stage after-power.")


def _next(screen: Screen, read: SwapReadBackAnswer) -> None:
    """Print what to do about a card that is not loaded correctly."""
    if read.start_up:
        screen.warn(f"START-UP WROTE OVER THE PARAMETERS: {read.start_up}.")
        screen.say(
            "Take the power off. Ask the maker why the unit did not accept its parameters (other "
            "software, a link, a stored check) before you load the file again."
        )
    elif read.moved:
        screen.say(
            "Take the power off. Check the direction of the chip, its pins and the socket. Read it "
            "again. If it still differs, the chip was damaged: use the duplicate "
            "(`parambak swap load-file`)."
        )
    elif read.stage == BEFORE_POWER:
        screen.say(
            "Load the file into the chip again, and read it back. If the same bytes differ again, "
            "clean the contacts, or use another chip."
        )
    else:
        screen.say(
            "Take the power off. If the unit itself writes a field or stored check, the layout "
            "must have `running = true` for it. For any other difference, load the file again. "
            "Then read back before power and after it."
        )
