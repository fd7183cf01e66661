"""The backup locations, and what each was last found to hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.backup.locations import handles, vessels_of
from parambak.answers.forms import Answer, Part, Question
from parambak.keeping.state.backups import backup_locations, newest_held
from parambak.keeping.state.counting import counting
from parambak.keeping.state.record_sets import local_time

if TYPE_CHECKING:
    from collections.abc import Mapping

    from parambak.answers.session import Session
    from parambak.keeping.state.backups import BackupLocation
    from parambak.keeping.state.bodies import HeldBody
    from parambak.vault.records import Stored

    Held = Mapping[str, Mapping[str, tuple[Stored, HeldBody]]]


class BackupListQuestion(Question["BackupListAnswer"], frozen=True):
    """Nothing is to be chosen."""


class LocationShown(Part, frozen=True):
    """A backup location, and what the newest records say that it held.

    `proven_on` is the newest day of them, `oldest_proof` the oldest, null where there are
    none; `hashed` says that every byte was hashed there; `missing` counts the records that
    were not whole there.
    """

    location: str
    id: str
    address: str
    vessels: tuple[str, ...] | None
    packed: bool
    proven_on: str | None
    oldest_proof: str | None
    hashed: bool
    vessels_here: int
    vessels_held: int
    records: int
    missing: int


class BackupListAnswer(Answer, frozen=True):
    """The backup locations by name."""

    locations: tuple[LocationShown, ...]


def answer(session: Session, question: BackupListQuestion) -> BackupListAnswer:
    """List the backup locations; raise VaultRefused, VaultDamaged or NotFound."""
    del question
    vault = session.vault
    locations = backup_locations(vault)
    held = {v: newest_held(counting(vault, v)) for v in vault.vessels()} if locations else {}
    names = handles(session)
    return BackupListAnswer(
        locations=tuple(_shown(session, location, held, names) for location in locations)
    )


def _shown(
    session: Session, location: BackupLocation, held: Held, names: Mapping[str, str]
) -> LocationShown:
    """Return a location; `held` has by vessel and location the newest records of it."""
    belonging = [v for v in names if location.vessels is None or v in location.vessels]
    here = {v: by_place[location.id] for v, by_place in held.items() if location.id in by_place}
    dates = [local_time(stored.record).date().isoformat() for stored, _ in here.values()]
    bodies = [body for _, body in here.values()]
    return LocationShown(
        location=location.handle,
        id=location.id,
        address=location.address,
        vessels=vessels_of(session, location),
        packed=location.packed,
        proven_on=max(dates, default=None),
        oldest_proof=min(dates, default=None),
        hashed=bool(bodies) and all(body.hashed for body in bodies),
        vessels_here=len({names.get(vessel, vessel) for vessel in belonging}),
        vessels_held=len({names.get(vessel, vessel) for vessel in here}),
        records=sum(body.records for body in bodies),
        missing=sum(len(body.incomplete) for body in bodies),
    )
