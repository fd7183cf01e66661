"""`archive`: put reads of one chip on record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import click

from parambak.answers.archive import ArchiveQuestion, answer, facts_asked, facts_stated
from parambak.cli.command import FORMAT_HELP, FormatName
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.chip import chip_option
from parambak.cli.parts.disagreement import explanation_page, vote_page
from parambak.cli.parts.person import asked_for
from parambak.cli.screen import MARKS
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.verified import HEADLINES, NOT_VERIFIED, VERIFIED, WHY
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Callable

    from parambak.answers.archive import ArchiveAnswer
    from parambak.cli.screen import Screen

_KEEP = "Keep a copy of the vault in a backup location."
_EACH_NO = "Each NO above shows why, and what to do."
FC = TypeVar("FC", bound="Callable[..., Any]")


_FACTS = facts_asked()


def read_fact_options(function: FC) -> FC:
    """Give a command an option for each fact of a read."""
    for fact in reversed(_FACTS):
        option = click.option(
            fact.option,
            fact.member,
            is_flag=fact.flag,
            default=None if not fact.flag or "/" in fact.option else False,
            type=click.Choice(fact.choices) if fact.choices else None,
            metavar=None if fact.flag or fact.choices else "TEXT",
            help=fact.help,
        )
        function = option(function)
    return function


@parambak_command(
    "archive",
    example="parambak archive R1.HEX R2.HEX --vessel grebe --unit port-thruster "
    "--position U12 --layout thruster.toml --by 'J. Doe'",
    more=(
        "parambak archive R1.HEX R2.HEX R3.HEX --vote --unit port-thruster --position U12",
        (
            "parambak archive EVEN1.BIN ODD1.BIN EVEN2.BIN ODD2.BIN --pair even-odd --unit winch "
            "--position U3"
        ),
    ),
)
@click.argument("dumps", metavar="DUMP…", nargs=-1, required=True)
@click.option(
    "--vessel", metavar="NAME", help="The vessel's short name. Default: that of the open visit."
)
@click.option("--unit", metavar="NAME", help="The unit that the chip belongs to.")
@click.option("--card", metavar="SERIAL", help="Instead of --unit: a card that is in no unit.")
@click.option("--position", metavar="NAME", required=True, help="The chip's reference designator.")
@click.option("--layout", metavar="FILE", help="The field layout; kept with the position.")
@chip_option
@click.option(
    "--size",
    type=click.IntRange(1),
    metavar="BYTES",
    help="The chip's size, if the table of chips does not have it; needs your name.",
)
@click.option("--reader-sum", metavar="HEX", help="The sum that the reader's screen shows.")
@click.option("--by", metavar="PERSON", help="Who read the chip.")
@click.option(
    "--read-on",
    metavar="DATE",
    help="The day of the read, such as 2026-03-01, or '2026-03-01 14:30'. Default: today, or the "
    "day of a visit that was entered afterwards.",
)
@read_fact_options
@click.option("--remark", metavar="TEXT", help="A remark, kept with the reads.")
@click.option(
    "--normal",
    multiple=True,
    metavar="CODE=REASON",
    help="Declare a finding normal for this memory; needs --by.",
)
@click.option("--format", type=FormatName(), help=FORMAT_HELP)
@click.option("--accept", multiple=True, metavar="NAME", help="Allow one irregularity.")
@click.option("--profile", metavar="FILE", help="The reader's profile: how its files are read.")
@click.option(
    "--vote", is_flag=True, help="Keep also, byte by byte, what most of three reads or more hold."
)
@click.option(
    "--new-vessel", is_flag=True, help="It is another vessel, although the names are similar."
)
@click.option(
    "--new-unit", is_flag=True, help="It is another unit, although the names are similar."
)
@click.option(
    "--new-position", is_flag=True, help="It is another position, although the names are similar."
)
@click.option(
    "--position-confirmed",
    is_flag=True,
    help="The chip, and the order of the dumps, are right: continue.",
)
@click.option("--blank-confirmed", is_flag=True, help="The chip is blank: keep the dump.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Keep each DUMP as one read of a chip, and show if the copy is verified.

    With a second DUMP you state that the chip was read a second time.
    """
    options["by"] = asked_for(settings, options["by"], options["vessel"])
    facts = facts_stated({fact.member: options.pop(fact.member) for fact in _FACTS})
    return settings.ask(answer, ArchiveQuestion(facts=facts, **options), _page)


def _page(screen: Screen, archived: ArchiveAnswer) -> None:
    screen.heading(f"{counted(archived.reads, 'read')} put on record for {archived.where}")
    facts = [
        ("copy", archived.copy),
        ("SHA-256", archived.sha256),
        *(("new", made.removeprefix("new ")) for made in archived.made),
    ]
    if archived.reader_sum:
        facts.append(("reader's sum", f"matches: {archived.reader_sum}"))
    facts += [("already on record", name) for name in archived.already]
    screen.facts(facts)
    screen.say()
    wide = max(len(state.condition) for state in archived.conditions) + 2
    screen.facts(
        (f"{state.condition:<{wide}}{MARKS[state.met]}", state.text)
        for state in archived.conditions
    )
    screen.say()
    if archived.explanation is not None:
        explanation_page(screen, archived.explanation)
    if archived.vote is not None:
        vote_page(screen, archived.vote)
    headline, why = HEADLINES[archived.state], WHY.get(archived.state)
    if archived.fading:
        headline += f": {', '.join(archived.fading)}"
    if archived.state == VERIFIED:
        screen.good(f"{headline}: separate reads agree, and every condition above is met. {_KEEP}")
    elif archived.verified:
        show = screen.bad if archived.fading else screen.good
        show(f"{headline}. {why}.")
        screen.say(_KEEP)
    elif archived.state == NOT_VERIFIED:
        screen.bad(f"{headline} yet. {_EACH_NO}")
    else:
        screen.bad(f"{headline}. {why}. {_EACH_NO}")
