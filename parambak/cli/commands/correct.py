"""`correct`: a fact corrected by a new record, with who states it and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.answers.correct import CorrectQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.chip import CHIP_HELP, with_organisation
from parambak.cli.parts.withdrawn import left_lines
from parambak.cli.settings import Answer, Settings, pass_settings

if TYPE_CHECKING:
    from parambak.answers.correct import CorrectAnswer
    from parambak.cli.screen import Screen

OPTIONS = {
    "short": ("--short-name", "New short name; the old one is kept as a former name."),
    "display": ("--display-name", "A display name, any text."),
    "imo": ("--imo", "Vessel: IMO number."),
    "other_number": ("--other-number", "Vessel: hull or official number."),
    "former": ("--former-name", "Vessel: a name it had before."),
    "maker_type": ("--maker-type", "Unit: the maker's type, as text."),
    "serial": ("--serial", "Unit or card: serial number."),
    "installed_in": ("--installed-in", "Unit: the room or area that it is installed in."),
    "chip": ("--chip", f"Position: {CHIP_HELP[0].lower()}{CHIP_HELP[1:]}"),
    "size": ("--size", "Position: the chip's size in bytes, if the table of chips has none."),
    "read_on": ("--read-on", "Copy: the day on which its reads were made."),
    "position": ("--position", "Copy: the WHERE that its reads belong to; what is new is made."),
    "remark": ("--remark", "Copy: a remark on its reads."),
}


@parambak_command(
    "correct", example="parambak correct grebe/port-thruster --maker-type 'TC-4' --by 'J. Doe'"
)
@click.argument("where", metavar="WHERE|COPY")
@click.option("--by", metavar="PERSON", help="Who states it.")
@click.option("--reason", metavar="TEXT", help="What was wrong, or the source of the fact.")
@click.option(
    "--read", multiple=True, metavar="NAME", help="Only this read: its dump file, or its record."
)
@click.option("--new-vessel", is_flag=True, help="Move to a vessel that is new.")
@click.option("--new-unit", is_flag=True, help="Move to a unit that is new.")
@click.option("--new-position", is_flag=True, help="Move to a position that is new.")
@pass_settings
def command(settings: Settings, /, **options: Any) -> Answer:
    """Add or correct a name, number or date on record.

    COPY stands for all reads that one `archive` kept with its newest read: they are moved or
    dated at once. Nothing is rewritten: the correction is a new record.
    """
    typed = {name: options.pop(name) for name in OPTIONS}
    facts = {name: value for name, value in typed.items() if value is not None}
    question = CorrectQuestion(facts=facts, **options)
    return settings.ask(answer, question, _page)


def _page(screen: Screen, corrected: CorrectAnswer) -> None:
    facts = ", ".join(f"{name} {value or 'taken back'}" for name, value in corrected.facts.items())
    screen.good(f"On record for {corrected.about}: {facts}.")
    for made in corrected.made:
        screen.say(made, indent=2)
    for read in corrected.corrected:
        screen.say(f"{read.where}: {read.text} ({read.record[:8]})", indent=2)
    if "position" in corrected.facts:
        left_lines(screen, corrected.left)


for _name, (_flag, _help) in OPTIONS.items():
    _ask = with_organisation if _name == "chip" else None
    command.params.append(click.Option([_flag, _name], metavar="TEXT", callback=_ask, help=_help))
