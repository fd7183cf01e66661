"""`recheck`: every file and record of the vault read and checked again."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import click

from parambak.answers.recheck import RecheckQuestion, answer, is_doubted
from parambak.cli.command import command as parambak_command
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.losses_shown import LossShown
    from parambak.answers.recheck import RecheckAnswer
    from parambak.cli.screen import Screen

MOST_SHOWN = 8  # of what is lost with one file


@parambak_command("recheck", example="parambak recheck --minutes 10")
@click.option(
    "--minutes",
    type=click.IntRange(1, 10_000),
    metavar="N",
    help="Stop after N minutes; the next call continues there.",
)
@click.option(
    "--seal",
    "seals",
    metavar="LINE",
    multiple=True,
    help="A seal written down earlier: is that history still complete?",
)
@pass_settings
def command(settings: Settings, minutes: int | None, seals: tuple[str, ...]) -> Answer:
    """Read every file and record of the vault again, and show what is damaged."""
    question = RecheckQuestion(minutes=minutes, seals=seals)
    return settings.ask(answer, question, partial(_page, settings))


def _page(settings: Settings, screen: Screen, checked: RecheckAnswer) -> None:
    files, records = counted(checked.objects, "file"), counted(checked.records, "record")
    screen.say(f"{files} and {records} were read and checked again.")
    facts = [("everything checked since", checked.oldest_full_read or "never")]
    if checked.unread:
        facts.append(("not checked yet", f"{checked.unread} of this round, begun {checked.began}"))
    screen.facts(facts)
    for damaged in checked.damaged:
        screen.say(f"DAMAGED {damaged.file}: {damaged.text}", indent=2)
        _lost(screen, damaged.lost)
    for remark in checked.remarks:
        screen.say(f"note: {remark.file}: {remark.text}", indent=2)
    for line in checked.seals:
        (screen.bad if line.state == "cut" else screen.say)(_sentence(line.text))
    _verdict(screen, checked, doubted=is_doubted(settings.session))
    if checked.next:
        screen.say(f"Do next: {checked.next}")


def _lost(screen: Screen, lost: tuple[LossShown, ...]) -> None:
    if not lost:
        screen.say("No record relies on it.", indent=6)
    for loss in lost[:MOST_SHOWN]:
        screen.say(f"Lost with it: {loss.text}.", indent=6)
    if len(lost) > MOST_SHOWN:
        screen.say(f"and {len(lost) - MOST_SHOWN} more; --json lists them.", indent=6)


def _verdict(screen: Screen, checked: RecheckAnswer, *, doubted: bool) -> None:
    if checked.damaged:
        screen.bad(f"The vault is damaged: {counted(len(checked.damaged), 'file')}.")
    elif checked.cut:
        screen.bad("Every file here is unchanged, but records are missing.")
    elif doubted:
        screen.warn("Every file is unchanged, but read the notes about the vault as a whole.")
    elif checked.unread:
        screen.warn("Every file that was read so far is unchanged.")
    else:
        screen.good("Every file is unchanged.")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."
