"""What the vault holds, and which of it is verified."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.state import select
from parambak.keeping.state.backups import Holdings
from parambak.keeping.state.cards import cross_over_notes
from parambak.keeping.state.model import Unit

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from parambak.answers.session import Session
    from parambak.keeping.state.model import Position, Vessel
    from parambak.keeping.state.unsettled import Conflict
    from parambak.keeping.verified import Verdict


class CatalogueQuestion(Question["CatalogueAnswer"], frozen=True):
    """Which positions: WHERE or a part of it; None for all."""

    where: str | None = None


class UnmetCondition(Part, frozen=True):
    """A condition of a verified copy that is not met or not known, and why."""

    condition: str
    text: str


class HolderShown(Part, frozen=True):
    """A second location that held the latest copy: since when, and when it was hashed there."""

    location: str
    on: str
    hashed_on: str | None


class PositionShown(Part, frozen=True):
    """A position and its latest copy; days as 2026-03-01, null where there is none.

    `state` is that of the copy in one word, null without a copy; `fading` are the fields and
    addresses that may be fading.
    """

    where: str
    copies: int
    latest: str | None
    sha256: str | None
    verified: bool
    reconstructed: bool
    read_on: str | None
    hashed_on: str | None
    unmet: tuple[UnmetCondition, ...]
    notes: tuple[str, ...]
    locations: tuple[HolderShown, ...]
    state: str | None
    fading: tuple[str, ...]


class ConflictShown(Part, frozen=True):
    """A fact that two records state differently, neither of them after the other."""

    where: str
    fact: str
    values: tuple[str, ...]


class OldestShown(Part, frozen=True):
    """The position whose latest copy was read first."""

    where: str
    read_on: str


class Summary(Part, frozen=True):
    """The listing at a glance: counts, the oldest copy, and what needs attention."""

    vessels: int
    positions: int
    copies: int
    verified: int
    not_verified: tuple[str, ...]
    in_no_backup_location: tuple[str, ...]
    oldest: OldestShown | None


class CatalogueAnswer(Answer, frozen=True):
    """The positions in order, the conflicts among their facts, and the summary."""

    positions: tuple[PositionShown, ...]
    conflicts: tuple[ConflictShown, ...]
    summary: Summary


def answer(session: Session, question: CatalogueQuestion) -> CatalogueAnswer:
    """List the positions; raise NotFound, VaultRefused or VaultDamaged."""
    fleet = session.fleet()
    listing = _Listing(session, fleet.rechecked)
    if question.where is None:
        with session.progress("checking") as progress:
            for count, vessel in enumerate(fleet.vessels, start=1):
                listing.add(vessel, vessel.positions)
                vessel.forget()  # of a large fleet one vessel is held at a time
                progress(count, len(fleet.vessels))
    else:
        vessel = select.vessel_at(fleet, question.where)
        listing.add(vessel, select.find_positions(fleet, question.where))
    positions = tuple(listing.positions)
    return CatalogueAnswer(
        positions=positions, conflicts=tuple(listing.conflicts), summary=_summary(positions)
    )


class _Listing:
    """What is listed, gathered vessel by vessel."""

    def __init__(self, session: Session, rechecked: datetime | None) -> None:
        self._session = session
        self._holdings = Holdings(session.vault)
        self._rechecked = rechecked
        self.positions: list[PositionShown] = []
        self.conflicts: list[ConflictShown] = []

    def add(self, vessel: Vessel, positions: Sequence[Position]) -> None:
        """List positions of one vessel, with the conflicts and notes that go with them."""
        self.positions += [self._shown(position) for position in positions]
        holders = [h for h in vessel.holders if any(p in positions for p in h.positions)]
        self._add_conflicts(vessel.handle, vessel.conflicts)
        for entity in (*holders, *positions):
            self._add_conflicts(entity.where, entity.conflicts)
        units = [holder for holder in holders if isinstance(holder, Unit)]
        note = self._session.note
        note(*cross_over_notes(self._session.vault, vessel, units))
        damaged = vessel.aboard.damaged
        if not vessel.named:
            lost = ", ".join((*vessel.aboard.missing, *(file for file, _ in damaged)))
            note(
                f"vessel {vessel.handle} has lost its name, because this is missing or damaged: "
                f"{lost or 'its record'}"
            )
        note(*(f"left out, {file}: {text}" for file, text in damaged))

    def _add_conflicts(self, where: str, conflicts: Sequence[Conflict]) -> None:
        self.conflicts += [ConflictShown(where, c.fact, tuple(c.values)) for c in conflicts]

    def _shown(self, position: Position) -> PositionShown:
        latest = position.latest
        verdict = self._session.assessor.verdict(position, latest) if latest else None
        return PositionShown(
            where=position.where,
            copies=len(position.copies),
            latest=select.copy_name(position, latest) if latest else None,
            sha256=latest.sha256 if latest else None,
            verified=bool(verdict and verdict.verified),
            reconstructed=bool(latest and latest.reconstructed),
            read_on=latest.newest.read_on.isoformat() if latest else None,
            hashed_on=self._hashed_on(position),
            unmet=unmet_of(verdict),
            notes=(*self._session.assessor.accepted_words(position.unsettled), *_notes(position)),
            locations=self._locations(position),
            state=verdict.state if verdict else None,
            fading=verdict.fading if verdict else (),
        )

    def _locations(self, position: Position) -> tuple[HolderShown, ...]:
        holders = self._holdings.of(position.latest) if position.latest else ()
        return tuple(
            HolderShown(h.name, h.on.isoformat(), h.hashed_on.isoformat() if h.hashed_on else None)
            for h in holders
        )

    def _hashed_on(self, position: Position) -> str | None:
        """Return the day on which the latest copy's bytes were last checked, on record."""
        moments: list[datetime] = [self._rechecked] if self._rechecked else []
        if position.latest:
            moments += [read.taken_in for read in position.latest.reads]
        return max(moments).date().isoformat() if moments else None


def unmet_of(verdict: Verdict | None) -> tuple[UnmetCondition, ...]:
    """Return the conditions that are not met or not known; none where there is no copy."""
    unmet = verdict.unmet if verdict is not None else ()
    return tuple(UnmetCondition(state.condition, state.text) for state in unmet)


def _notes(position: Position) -> list[str]:
    notes = []
    if position.out_of_order:
        notes.append("the read with the latest date was not put on record last")
    notes += [f"normal here: {normal.code}, {normal.reason}" for normal, _ in position.normal]
    return notes


def _summary(positions: tuple[PositionShown, ...]) -> Summary:
    read = [(line.read_on, line.where) for line in positions if line.read_on]
    oldest = min(read, default=None)
    return Summary(
        vessels=len({line.where.split("/")[0] for line in positions}),
        positions=len(positions),
        copies=sum(line.copies for line in positions),
        verified=sum(line.verified for line in positions),
        not_verified=tuple(line.where for line in positions if not line.verified),
        in_no_backup_location=tuple(line.where for line in positions if not line.locations),
        oldest=OldestShown(oldest[1], oldest[0]) if oldest else None,
    )
