"""`place send`: what a place lacks is sent there, and what is there is hashed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts import place as common
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.recording.backups import send_to
from parambak.keeping.state.backups import find_backup
from parambak.memory.counted import counted
from parambak.vault.records import clock_of

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.backups import BackupLocation
    from parambak.vault.locations.send import Sent
    from parambak.vault.vault import Vault


@parambak_command("send", example="parambak place send red-stick")
@click.argument("name", metavar="NAME")
@click.option("--both-ways", is_flag=True, help="Take in what the place has and the vault has not.")
@click.option("--quick", is_flag=True, help="Trust the sizes of what is there; it is not hashed.")
@click.option("--at", metavar="ADDRESS", help="Where the place is found today.")
@pass_settings
def command(
    settings: Settings, /, *, name: str, both_ways: bool, quick: bool, at: str | None
) -> Answer:
    """Send to a place what it lacks, hash what it has, and heal either side from the other.

    Nothing is deleted. It may be broken off at any moment; called again, it goes on.
    """
    vault = store.open_vault(settings)
    place = find_backup(vault, name)
    address = common.whole(settings, at) if at else place.address
    with common.opened(address, vault) as there, _progress(settings) as progress:
        sent, notes = send_to(
            vault,
            there,
            place,
            now=settings.clock,
            since=clock_of(settings.clock()).utc,
            progress=progress,
            quick=quick,
            both_ways=both_ways,
        )
    document = _document(vault, place, sent, hashed=not quick)
    if sent.fetched and sent.fetched.records:
        notes = (*notes, *store.namesakes(vault))
    return Answer(
        document,
        lambda screen: _page(screen, document),
        exit_code=_exit_code(sent),
        warnings=(*store.warnings_of(vault), *notes, *common.also_known(vault, place)),
    )


def _progress(settings: Settings) -> Progress:
    return Progress(quiet=settings.json, doing="sending")


def _exit_code(sent: Sent) -> int:
    if sent.vault_damaged:
        return 3
    return 1 if sent.refused else 0


def _document(vault: Vault, place: BackupLocation, sent: Sent, *, hashed: bool) -> dict[str, Any]:
    handles = common.handles(vault)
    taken = sent.fetched
    return {
        "place": place.handle,
        "sent": sent.sent,
        "there": sent.there,
        "hashed": hashed,
        "healed_there": list(sent.healed_there),
        "healed_here": list(sent.healed_here),
        "added": {"records": taken.records, "objects": taken.objects} if taken else None,
        "unknown": sent.unknown,
        "held": [
            {
                "vessel": handles.get(each.vessel, each.vessel),
                "records": each.records,
                "objects": each.objects,
                "lacking": list(each.lacking),
            }
            for each in sent.proven
        ],
        "refused": [{"file": each.file, "text": each.text} for each in sent.refused],
    }


def _page(screen: Screen, told: dict[str, Any]) -> None:
    how = "hashed there" if told["hashed"] else "of the right size there, NOT HASHED"
    screen.say(
        f"{counted(told['sent'], 'file')} sent and read back; {counted(told['there'], 'file')} "
        f"{how}."
    )
    for side, where in (("healed_there", "in the place"), ("healed_here", "in the vault")):
        for file in told[side]:
            screen.say(f"HEALED {where}: {file}; what was damaged is kept in damaged/", indent=2)
    added = told["added"]
    if added is not None:
        records, objects = counted(added["records"], "record"), counted(added["objects"], "object")
        screen.say(f"Taken into the vault: {records} and {objects}.")
    if told["unknown"]:
        text = f"{counted(told['unknown'], 'record')} there are not in this vault"
        more = "; --both-ways takes in what belongs here" if added is None else ""
        screen.say(f"{text}{more}.")
    for each in told["refused"]:
        screen.say(f"NOT SENT {each['file']}: {each['text']}", indent=2)
    _verdict(screen, told)


def _verdict(screen: Screen, told: dict[str, Any]) -> None:
    vessels = counted(len({each["vessel"] for each in told["held"]}), "vessel")
    if not told["held"] and not told["refused"]:
        screen.mind(f"No vessel that belongs in {told['place']} is in this vault: none was sent.")
    elif told["refused"]:
        screen.bad(f"{told['place']} does not hold everything of {vessels}: see above.")
    elif told["hashed"]:
        screen.good(f"{told['place']} holds everything of {vessels}, every byte hashed there now.")
    else:
        screen.mind(f"{told['place']} has every file of {vessels} by name and size; not hashed.")
