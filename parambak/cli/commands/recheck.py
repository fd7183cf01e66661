"""`recheck`: every object and record of the vault hashed again."""

from __future__ import annotations

import time
from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from parambak.cli import store
from parambak.cli.command import command as parambak_command
from parambak.cli.parts.closing_lines import judged, read_lines
from parambak.cli.progress import Progress
from parambak.cli.settings import Answer, Settings, pass_settings
from parambak.keeping.state.backups import backup_locations
from parambak.keeping.state.bodies import RecheckBody
from parambak.keeping.state.fold import fleet, last_full_recheck
from parambak.keeping.state.losses import Loss, RepairSource, body_fault, losses, repair_sources
from parambak.memory.counted import counted
from parambak.vault.check.recheck import (
    Rechecked,
    Terms,
    forget_cycle,
    keep_cycle,
    load_cycle,
    recheck,
)
from parambak.vault.faults import (
    CLOCK_BACKWARDS,
    INDEX_ASIDE,
    INDEX_REBUILT,
    OWN_DAMAGED,
    OWN_NOT_WRITTEN,
    RECORD_SKIPPED,
)
from parambak.vault.records import clock_of

if TYPE_CHECKING:
    from parambak.cli.screen import Screen
    from parambak.keeping.state.closing_line import LineVerdict
    from parambak.vault.check.recheck import Cycle
    from parambak.vault.vault import Vault

MOST_SHOWN = 8  # of what is lost with one file
# Notes that say nothing against the vault itself.
HARMLESS = frozenset({CLOCK_BACKWARDS, INDEX_ASIDE, INDEX_REBUILT, OWN_DAMAGED, OWN_NOT_WRITTEN})


class Found(NamedTuple):
    """All that one recheck found."""

    checked: Rechecked
    lost: dict[str, tuple[Loss, ...]]
    known: tuple[LineVerdict, ...]
    oldest: datetime | None
    sources: tuple[RepairSource, ...]
    full_backups: tuple[str, ...]
    noted: bool

    @property
    def cut(self) -> bool:
        """Tell whether some history was cut."""
        return any(each.state == "cut" for each in self.known)

    @property
    def exit_code(self) -> int:
        """Return 3 for damage, else 0."""
        return 3 if self.checked.damaged or self.cut else 0


@parambak_command("recheck", example="parambak recheck --minutes 10")
@click.option(
    "--minutes",
    type=click.IntRange(1, 10_000),
    metavar="N",
    help="Stop after N minutes, and go on there the next time.",
)
@click.option(
    "--known",
    metavar="LINE",
    multiple=True,
    help="A closing line written down earlier: is that history still whole?",
)
@pass_settings
def command(settings: Settings, minutes: int | None, known: tuple[str, ...]) -> Answer:
    """Hash every object and record again, and say what is damaged."""
    lines = read_lines(known)
    vault = store.open_vault(settings)
    checked, notes = _run(settings, vault, minutes)
    lost: dict[str, tuple[Loss, ...]] = {}
    if checked.damaged:
        histories = (vault.records(vessel) for vessel in (None, *vault.vessels()))
        lost = losses(fleet(vault), histories, [each.file for each in checked.damaged])
    answered = settings.session.answered
    answered.update(_told_of(vault, checked))
    found = Found(
        checked,
        lost,
        judged(vault, lines),
        _oldest(vault, checked),
        repair_sources(vault, lost) if lost else (),
        tuple(p.handle for p in backup_locations(vault) if p.vessels is None)
        if checked.damaged
        else (),
        noted=any(f.code not in HARMLESS and f.text not in answered for f in vault.warnings),
    )
    return Answer(
        _document(found),
        lambda screen: _page(screen, found),
        exit_code=found.exit_code,
        warnings=tuple(notes),
    )


def _told_of(vault: Vault, checked: Rechecked) -> list[str]:
    """Return the vault's notes on files that the answer calls damaged: once is enough."""
    damaged = [each.file for each in checked.damaged]
    return [
        finding.text
        for finding in vault.warnings
        if finding.code == RECORD_SKIPPED and any(finding.text.startswith(f) for f in damaged)
    ]


def _oldest(vault: Vault, checked: Rechecked) -> datetime | None:
    """Return since when every byte here was read; a whole run counts though it is not on record."""
    told = last_full_recheck(vault.of_kind(None, RecheckBody.kind), vault.folder_mark, sound=False)
    if checked.unread:
        return told
    began = datetime.fromisoformat(checked.cycle.began)
    return max(told, began) if told else began


# --- the run ---


def _run(settings: Settings, vault: Vault, minutes: int | None) -> tuple[Rechecked, list[str]]:
    """Hash what there is time for; put a whole recheck on record, and keep an unfinished one."""
    now = clock_of(settings.clock()).utc
    mark = vault.folder_mark
    begun = load_cycle(settings.own_folder, mark) if minutes and mark else None
    end = time.monotonic() + 60 * minutes if minutes else None
    terms = Terms(now, lambda: end is not None and time.monotonic() >= end, body_fault)
    with Progress(quiet=settings.json) as progress:
        checked = recheck(vault, progress, cycle=begun, terms=terms)
    if checked.unread:
        return checked, _keep(settings, vault, checked.cycle)
    return checked, _put_on_record(settings, vault, checked)


def _keep(settings: Settings, vault: Vault, cycle: Cycle) -> list[str]:
    from parambak.errors import VaultRefused  # noqa: PLC0415 - used once

    try:
        mark = vault.folder_mark or (vault.writer and vault.folder_mark)
        keep_cycle(settings.own_folder, mark or "", cycle)
    except (OSError, ValueError, VaultRefused) as error:
        return [f"how far the recheck came could not be kept; it will begin anew: {error}"]
    return []


def _put_on_record(settings: Settings, vault: Vault, checked: Rechecked) -> list[str]:
    """Keep the date of a full recheck; a vault that cannot be written only says so."""
    from parambak.errors import VaultDamaged, VaultRefused  # noqa: PLC0415 - used once

    try:
        with vault.writing() as writing:
            mark = vault.folder_mark  # the writer is known now
            body = RecheckBody(
                objects=checked.objects,
                records=checked.records,
                damaged=len(checked.damaged),
                folder=mark,
                since=checked.cycle.began,
            )
            writing.add(body.kind, None, body.members())
    except (VaultRefused, VaultDamaged) as error:
        return [f"the recheck is not on record: {error.text}"]
    if mark:
        forget_cycle(settings.own_folder, mark)
    return []


# --- the answer ---


def _document(found: Found) -> dict[str, Any]:
    checked = found.checked
    read = checked.objects + checked.records
    return {
        "objects": checked.objects,
        "records": checked.records,
        "damaged": [
            {
                "file": each.file,
                "text": each.text,
                "lost": [
                    {"text": loss.text, "vessel": loss.vessel, "where": loss.where}
                    for loss in found.lost.get(each.file, ())
                ],
            }
            for each in checked.damaged
        ],
        "remarks": [{"file": each.file, "text": each.text} for each in checked.remarks],
        "total": read + checked.unread,
        "read": read,
        "unread": checked.unread,
        "complete": not checked.unread,
        "began": checked.cycle.began,
        "oldest_full_read": found.oldest.date().isoformat() if found.oldest else None,
        "known": [
            {
                "vessel": each.line.name,
                "state": each.state,
                "text": each.text,
                "since": each.since,
                "next": each.next,
            }
            for each in found.known
        ],
        "places": [
            {"place": each.place, "files": each.files, "on": each.on.isoformat()}
            for each in found.sources
        ],
        "next": _next_step(found),
    }


def _page(screen: Screen, found: Found) -> None:
    checked = found.checked
    objects, records = counted(checked.objects, "object"), counted(checked.records, "record")
    screen.say(f"{objects} and {records} were hashed again.")
    facts = [
        ("everything read since", found.oldest.date().isoformat() if found.oldest else "never")
    ]
    if checked.unread:
        facts.append(
            ("not read yet", f"{checked.unread} of this round, begun {checked.cycle.began}")
        )
    screen.facts(facts)
    for each in checked.damaged:
        screen.say(f"DAMAGED {each.file}: {each.text}", indent=2)
        _lost(screen, found.lost.get(each.file, ()))
    for remark in checked.remarks:
        screen.say(f"note: {remark.file}: {remark.text}", indent=2)
    for verdict in found.known:
        (screen.bad if verdict.state == "cut" else screen.say)(_sentence(verdict.text))
    _verdict(screen, found)
    if step := _next_step(found):
        screen.say(f"Do next: {step}")


def _lost(screen: Screen, lost: tuple[Loss, ...]) -> None:
    if not lost:
        screen.say("No record relies on it.", indent=6)
    for loss in lost[:MOST_SHOWN]:
        screen.say(f"Lost with it: {loss.text}.", indent=6)
    if len(lost) > MOST_SHOWN:
        screen.say(f"and {len(lost) - MOST_SHOWN} more; --json lists them.", indent=6)


def _verdict(screen: Screen, found: Found) -> None:
    checked = found.checked
    if checked.damaged:
        screen.bad(f"The vault is damaged in {counted(len(checked.damaged), 'place')}.")
    elif found.cut:
        screen.bad("Every file is sound in itself, and records are gone.")
    elif found.noted:
        screen.mind("Every file is sound in itself; but see the notes about the vault as a whole.")
    elif checked.unread:
        screen.mind("All sound so far.")
    else:
        screen.good("All sound.")


def _next_step(found: Found) -> str | None:
    """Return the one thing to do now."""
    files = [each.file for each in found.checked.damaged]
    if files == ["vault.toml"]:
        return (
            "Fetch vault.toml from another copy of this vault, or write its three lines anew as "
            "formats/vault.md has them, and run recheck again."
        )
    if found.sources:
        best = found.sources[0]
        part = "" if best.files == len(files) else f"{best.files} of {len(files)} of "
        return (
            f"Run `parambak place send {best.place}`: on {best.on} that place held {part}the files "
            "that are damaged here, and the vault is healed from there."
        )
    if files:
        fetch = "Fetch"
        if found.full_backups:
            heal = f"`parambak place send {found.full_backups[0]}`"
            fetch = f"Run {heal}, which heals what that place holds; else fetch"
        return (
            f"Delete nothing. {fetch} the files named above from another copy of this vault to the "
            f"same names here{_or_archive(found)}; then run recheck again.{_or_without(found)}"
        )
    if found.exit_code:
        return next(each.next for each in found.known if each.state != "whole")
    if found.checked.unread:
        return "Run recheck with --minutes again: it goes on where it stopped."
    return None


def _or_archive(found: Found) -> str:
    """Return the second way, where all that is lost are bytes that a dump gives back."""
    every = [loss for lost in found.lost.values() for loss in lost]
    files = [each.file for each in found.checked.damaged]
    objects = all(file.startswith("objects/") for file in files)
    if objects and every and all(loss.in_dump for loss in every):
        return ", or archive the same dumps again if you have them"
    return ""


def _or_without(found: Found) -> str:
    """Return the way out where nothing else relies on what is lost, and nobody has it."""
    if any(found.lost.values()):
        return ""
    return " Where no copy has them, `parambak recover` builds a new vault of all the rest."


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."
