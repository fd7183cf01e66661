"""Every object and record of the vault hashed again, and seals compared with it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from msgspec import Meta

from parambak.answers.forms import DAMAGED, YES, Answer, FileNote, Part, Question
from parambak.answers.losses_shown import LossShown, losses_shown
from parambak.errors import VaultDamaged, VaultRefused
from parambak.keeping.state import seal, select
from parambak.keeping.state.backups import backup_locations
from parambak.keeping.state.bodies import RecheckBody
from parambak.keeping.state.counting import counting_of_kind
from parambak.keeping.state.fold import last_full_recheck
from parambak.keeping.state.losses import body_fault, losses, repair_sources
from parambak.keeping.state.lost_records import settled_losses, unseen_losses
from parambak.vault import objects, records
from parambak.vault.check.recheck import (
    Damage,
    Terms,
    forget_cycle,
    keep_cycle,
    load_cycle,
    recheck,
    time_limit,
)
from parambak.vault.faults import (
    CLOCK_BACKWARDS,
    INDEX_ASIDE,
    INDEX_REBUILT,
    OWN_DAMAGED,
    OWN_NOT_WRITTEN,
)
from parambak.vault.records import clock_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.answers.session import Session
    from parambak.keeping.state.losses import Loss
    from parambak.keeping.state.model import Fleet
    from parambak.keeping.state.seal import Seal, SealVerdict
    from parambak.vault.check.recheck import Cycle, Rechecked

# Notes that say nothing against the vault itself.
HARMLESS = frozenset({CLOCK_BACKWARDS, INDEX_ASIDE, INDEX_REBUILT, OWN_DAMAGED, OWN_NOT_WRITTEN})


class RecheckQuestion(Question["RecheckAnswer"], frozen=True):
    """How many minutes it may take, None for all of it; seals written down earlier."""

    minutes: Annotated[int, Meta(ge=1, le=10_000)] | None = None
    seals: tuple[str, ...] = ()


class DamagedFile(Part, frozen=True):
    """A file that is damaged or gone, why, and what is lost with it."""

    file: str
    text: str
    lost: tuple[LossShown, ...]


class SealJudged(Part, frozen=True):
    """A seal: `state` is "whole" or "cut"; `since` counts the records after it."""

    vessel: str
    state: str
    text: str
    since: int | None
    next: str | None


class RepairShown(Part, frozen=True):
    """A second backup location that held so many of the damaged files on a day."""

    location: str
    files: int
    on: str


class RecheckAnswer(Answer, frozen=True):
    """What was hashed, what is damaged, and the one thing to do next.

    `read` of `total` files were hashed in this round, which began at `began` (UTC);
    `oldest_full_read` is the day since when every byte here was read.
    """

    objects: int
    records: int
    damaged: tuple[DamagedFile, ...]
    remarks: tuple[FileNote, ...]
    total: int
    read: int
    unread: int
    complete: bool
    began: str
    oldest_full_read: str | None
    seals: tuple[SealJudged, ...]
    locations: tuple[RepairShown, ...]
    next: str | None

    @property
    def cut(self) -> bool:
        """Return whether some history was cut."""
        return any(sealed.state == "cut" for sealed in self.seals)

    @property
    def exit_code(self) -> int:
        """Return 3 for damage, else 0."""
        return DAMAGED if self.damaged or self.cut else YES


def answer(session: Session, question: RecheckQuestion) -> RecheckAnswer:
    """Hash the vault, put a complete run on record, and keep how far another one came.

    Raise `seal-mistyped`, VaultRefused or NotFound.
    """
    given = tuple(expected for text in question.seals for expected in seal.read(text))
    vault = session.vault
    checked = _settled(session, _run(session, question.minutes))
    _keep_result(session, checked)
    lost: dict[str, tuple[Loss, ...]] = {}
    if checked.damaged:
        histories = (vault.records(vessel) for vessel in (None, *vault.vessels()))
        lost = losses(session.fleet(), histories, [damage.file for damage in checked.damaged])
    session.answered.update(_notes_answered(session, checked))
    oldest = _oldest_full_read(session, checked)
    read = checked.objects + checked.records
    seals = tuple(map(_seal_judged, _judged(session, given)))
    sources = repair_sources(vault, lost) if lost else ()
    locations = tuple(RepairShown(s.location, s.files, s.on.isoformat()) for s in sources)
    return RecheckAnswer(
        objects=checked.objects,
        records=checked.records,
        damaged=tuple(
            DamagedFile(damage.file, damage.text, losses_shown(lost.get(damage.file, ())))
            for damage in checked.damaged
        ),
        remarks=tuple(FileNote(remark.file, remark.text) for remark in checked.remarks),
        total=read + checked.unread,
        read=read,
        unread=checked.unread,
        complete=not checked.unread,
        began=checked.cycle.began,
        oldest_full_read=oldest.date().isoformat() if oldest else None,
        seals=seals,
        locations=locations,
        next=_next_step(session, checked, lost, seals, locations),
    )


def is_doubted(session: Session) -> bool:
    """Return whether the vault has something to say against itself as a whole."""
    return any(
        finding.code not in HARMLESS and finding.text not in session.answered
        for finding in session.vault.warnings
    )


def _notes_answered(session: Session, checked: Rechecked) -> list[str]:
    """Return the vault's notes on files that the answer names: once is enough."""
    named = [damage.file for damage in (*checked.damaged, *checked.remarks)]
    return [
        finding.text
        for finding in session.vault.warnings
        if any(finding.text.startswith(file) for file in named)
    ]


def _oldest_full_read(session: Session, checked: Rechecked) -> datetime | None:
    """Return since when every byte here was read; a whole run counts though it is not on record."""
    vault = session.vault
    on_record = last_full_recheck(
        counting_of_kind(vault, None, RecheckBody.kind), vault.folder_mark, sound=False
    )
    if checked.unread:
        return on_record
    began = datetime.fromisoformat(checked.cycle.began)
    return max(on_record, began) if on_record else began


# --- the run ---


def _run(session: Session, minutes: int | None) -> Rechecked:
    """Hash what there is time for."""
    vault, own = session.vault, session.folders.own_folder
    mark = vault.folder_mark
    begun = load_cycle(own, mark) if minutes and mark else None
    terms = Terms(clock_of(session.clock()).utc, time_limit(minutes), body_fault)
    with session.progress("checking") as progress:
        return recheck(vault, progress, cycle=begun, terms=terms)


def _settled(session: Session, checked: Rechecked) -> Rechecked:
    """Add what only a note or a record shows as lost; remark on what a person accepted as lost."""
    damaged = {damage.file: damage.text for damage in checked.damaged}
    for record in unseen_losses(session.vault):
        damaged.setdefault(record.file, f"It {record.why}.")
    remarks = [*checked.remarks]
    for digest, loss in settled_losses(session.vault, session.fleet()).items():
        for file in (records.file_of(digest), objects.file_of(digest)):
            if damaged.pop(file, None) is not None:
                text = session.assessor.loss_words(loss)
                remarks.append(Damage(file, f"It is lost, and {text}."))
    return checked._replace(
        damaged=tuple(Damage(file, text) for file, text in sorted(damaged.items())),
        remarks=tuple(sorted(remarks)),
    )


def _keep_result(session: Session, checked: Rechecked) -> None:
    """Put a whole recheck on record, and keep how far an unfinished one came."""
    if checked.unread:
        _keep(session, checked.cycle)
    else:
        _put_on_record(session, checked)


def _keep(session: Session, cycle: Cycle) -> None:
    vault = session.vault
    try:
        mark = vault.folder_mark or (vault.writer and vault.folder_mark)
        keep_cycle(session.folders.own_folder, mark or "", cycle)
    except (OSError, ValueError, VaultRefused) as error:
        session.note(f"how far the recheck came could not be kept; it will begin again: {error}")


def _put_on_record(session: Session, checked: Rechecked) -> None:
    """Keep the date of a full recheck; a vault that cannot be written only says so."""
    vault = session.vault
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
        session.note(f"the recheck is not on record: {error.text}")
        return
    if mark:
        forget_cycle(session.folders.own_folder, mark)


# --- seals ---


def _judged(session: Session, given: tuple[Seal, ...]) -> tuple[SealVerdict, ...]:
    """Return whether the history of each seal is whole."""
    if not given:
        return ()
    fleet = session.fleet()
    sizes: dict[str, int] = {}
    matches: list[dict[str, seal.SealMatch]] = [{} for _ in given]
    for identity in session.vault.vessels():
        stored = session.vault.records(identity)
        sizes[identity] = len(stored)
        for expected, matched in zip(given, matches, strict=True):
            match = seal.match_seal(expected, stored)
            if match.ends:
                matched[identity] = match
    verdicts = []
    for expected, matched in zip(given, matches, strict=True):
        ids = _identities(fleet, expected, frozenset(matched))
        now = sum(sizes.get(identity, 0) for identity in ids)
        verdicts.append(seal.judge(expected, matched.values(), now))
    return tuple(verdicts)


def _identities(fleet: Fleet, expected: Seal, matched: frozenset[str]) -> frozenset[str]:
    """Return the identities of the ship that a seal is of: by its records, else by its name."""
    ships = [vessel for vessel in fleet.vessels if vessel.ids & matched]
    ships = ships or select.vessels_named(fleet, expected.name)
    return matched.union(*(vessel.ids for vessel in ships))


def _seal_judged(verdict: SealVerdict) -> SealJudged:
    return SealJudged(verdict.seal.name, verdict.state, verdict.text, verdict.since, verdict.next)


# --- what to do next ---


def _next_step(
    session: Session,
    checked: Rechecked,
    lost: Mapping[str, tuple[Loss, ...]],
    seals: tuple[SealJudged, ...],
    locations: tuple[RepairShown, ...],
) -> str | None:
    """Return the one thing to do now."""
    files = [damage.file for damage in checked.damaged]
    if files == ["vault.toml"]:
        return (
            "Fetch vault.toml from another copy of this vault, or write its three lines as "
            "formats/vault.md shows them. Then run `parambak recheck` again."
        )
    if locations:
        best = locations[0]
        part = "" if best.files == len(files) else f"{best.files} of {len(files)} of "
        return (
            f"Run `parambak backup send {best.location}`. On {best.on} that backup location held "
            f"{part}the files that are damaged here, and the command repairs them from there."
        )
    if files:
        return (
            f"Delete nothing. {_fetch(session)} the files named above from another copy of this "
            f"vault to the same names here{_or_archive(files, lost)}; then run recheck again."
            f" If no copy has them: {_accept(lost)}."
        )
    cut = [sealed.next for sealed in seals if sealed.state == "cut"]
    if cut:
        return cut[0]
    if checked.unread:
        return "Run `parambak recheck --minutes N` again: it continues where it stopped."
    return None


def _fetch(session: Session) -> str:
    """Return how to begin: with a backup location of all vessels, where there is one."""
    full = [
        location.handle for location in backup_locations(session.vault) if location.vessels is None
    ]
    if not full:
        return "Fetch"
    return (
        f"Run `parambak backup send {full[0]}`, which repairs what that location holds; else fetch"
    )


def _or_archive(files: list[str], lost: Mapping[str, tuple[Loss, ...]]) -> str:
    """Return the second way, where all that is lost are bytes that a dump gives back."""
    all_losses = [loss for losses_of_file in lost.values() for loss in losses_of_file]
    objects = all(file.startswith("objects/") for file in files)
    if objects and all_losses and all(loss.in_dump for loss in all_losses):
        return ", or archive the same dumps again if you have them"
    return ""


def _accept(lost: Mapping[str, tuple[Loss, ...]]) -> str:
    """Return the command that accepts the loss, for the vessel if there is one alone."""
    vessels = {loss.vessel for of_file in lost.values() for loss in of_file if loss.vessel}
    where = min(vessels) if len(vessels) == 1 else "VESSEL"
    return f"`parambak accept-loss {where} --by NAME --reason TEXT`"
