"""`backup send`: what is missing in a backup location is sent; what is there is checked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from parambak.answers.backup.send import BackupSendQuestion, answer
from parambak.cli.command import command as parambak_command
from parambak.cli.commands.backup import typed_address
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from parambak.answers.backup.send import BackupSendAnswer
    from parambak.cli.screen import Screen


@parambak_command("send", example="parambak backup send red-stick")
@click.argument("name", metavar="NAME")
@click.option("--both-ways", is_flag=True, help="Take in also what is there and not in the vault.")
@click.option("--quick", is_flag=True, help="Compare only names and sizes there, no contents.")
@click.option("--at", metavar="ADDRESS", help="The address of the backup location today.")
@pass_settings
def command(
    settings: Settings, /, *, name: str, both_ways: bool, quick: bool, at: str | None
) -> Answer:
    """Send what is missing to a backup location, check what is there, and repair either side.

    Nothing is deleted. You can stop it at any time: the next call continues.
    """
    question = BackupSendQuestion(
        name=name, at=typed_address(at or "") or None, both_ways=both_ways, quick=quick
    )
    return settings.ask(answer, question, _page)


def _page(screen: Screen, sent: BackupSendAnswer) -> None:
    how = "checked there" if sent.hashed else "of the right size there, NOT CHECKED"
    screen.say(
        f"{counted(sent.sent, 'file')} sent and read back; {counted(sent.there, 'file')} {how}."
    )
    for repaired, where in (
        (sent.repaired_there, "in the backup location"),
        (sent.repaired_here, "in the vault"),
    ):
        for file in repaired:
            screen.say(f"REPAIRED {where}: {file}; what was damaged is kept in damaged/", indent=2)
    added = sent.added
    if added is not None:
        records, files = counted(added.records, "record"), counted(added.objects, "file")
        screen.say(f"Taken into the vault: {records} and {files}.")
    if sent.unknown:
        text = f"{counted(sent.unknown, 'record')} there are not in this vault"
        more = "; --both-ways takes in what belongs here" if added is None else ""
        screen.say(f"{text}{more}.")
    for refused in sent.refused:
        screen.say(f"NOT SENT {refused.file}: {refused.text}", indent=2)
    _verdict(screen, sent)


def _verdict(screen: Screen, sent: BackupSendAnswer) -> None:
    vessels = counted(len({held.vessel for held in sent.held}), "vessel")
    if not sent.held and not sent.refused:
        screen.warn(f"No vessel that belongs in {sent.location} is in this vault: none was sent.")
    elif sent.refused:
        screen.bad(f"{sent.location} does not hold everything of {vessels}: see above.")
    elif sent.hashed:
        screen.good(f"{sent.location} holds everything of {vessels}, every byte checked there now.")
    else:
        screen.warn(
            f"{sent.location} has every file of {vessels} by name and size; the contents were NOT "
            "CHECKED."
        )
