"""What is lost by damage, and from where it can be repaired.

The records alone show which copies, names and layouts rely on a damaged or missing file. A file
is named by its path within the vault.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import VaultDamaged
from parambak.keeping.state import bodies
from parambak.keeping.state.backups import backup_locations, held_in, latest_locations, own_records
from parambak.keeping.state.bodies import body_of
from parambak.vault import objects, records

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.backups import Held
    from parambak.keeping.state.model import Copy, Fleet, Position, Vessel
    from parambak.vault.records import Record, Stored
    from parambak.vault.vault import Vault


class Loss(NamedTuple):
    """One thing that is lost with a file: in words, and where, if that is on record.

    A location that holds `record`, about the vessel `identity`, holds the file too. `in_dump`:
    archiving the same dump again restores it.
    """

    text: str
    vessel: str | None = None
    where: str | None = None
    record: str | None = None
    identity: str | None = None
    in_dump: bool = False


def body_fault(record: Record, digest: str) -> str | None:
    """Return why a record's body cannot be used; None if it can."""
    kind = bodies.KINDS.get(record.kind)
    if kind is None:
        return None
    try:
        body_of(record, digest, kind)
    except VaultDamaged as error:
        return f"{error.text}: {error.found}"
    return None


def losses(
    fleet: Fleet, histories: Iterable[Sequence[Stored]], damaged: Iterable[str]
) -> dict[str, tuple[Loss, ...]]:
    """Return what is lost with each damaged file; nothing for a file that nothing relies on.

    `histories` are the records about each vessel identity, and about the vault itself;
    they are read once, one at a time.
    """
    count = _LossCount(fleet, damaged)
    for history in histories:
        count.take(history)
    return count.losses()


class RepairSource(NamedTuple):
    """A backup location by name, and how many of the damaged files it held on a day."""

    location: str
    files: int
    on: date


def repair_sources(vault: Vault, lost: Mapping[str, Sequence[Loss]]) -> tuple[RepairSource, ...]:
    """Return the locations on record that hold some of the damaged files, the best first.

    A location holds a file if it holds a record that relies on it; `lost` gives those.
    """
    locations = latest_locations(own_records(vault))
    identities = {loss.identity for of_file in lost.values() for loss in of_file if loss.identity}
    held = {i: held_in(vault.records(i), locations) for i in sorted(identities)}
    days: dict[str, dict[str, date]] = {}
    for file, of_file in lost.items():
        for loss in of_file:
            for holding in held.get(loss.identity or "", {}).get(loss.record or "", ()):
                day = _proven_on(holding)
                of_location = days.setdefault(holding.location, {})
                of_location[file] = max(day, of_location.get(file, day))
    handles = {location.id: location.handle for location in backup_locations(vault)}
    sources = [
        RepairSource(handles[location], len(by_file), min(by_file.values()))
        for location, by_file in days.items()
        if location in handles
    ]
    return tuple(
        sorted(
            sources,
            key=lambda holding: (
                -holding.files,
                -holding.on.toordinal(),
                holding.location,
            ),
        )
    )


def _proven_on(held: Held) -> date:
    return held.hashed_on or held.on


class _LossCount:
    """Goes through the records once."""

    def __init__(self, fleet: Fleet, damaged: Iterable[str]) -> None:
        self._files = frozenset(damaged)
        self._by_file: dict[str, dict[str, Loss]] = {}
        self._signed: Counter[tuple[str, str]] = Counter()
        self._signers: dict[tuple[str, str], Stored] = {}
        self._reads: dict[str, tuple[Position, Copy]] = {}
        self._wheres: dict[str, str] = {}
        self._handles: dict[str, str] = {}
        for vessel in fleet.vessels:
            self._add_names(vessel)

    def _add_names(self, vessel: Vessel) -> None:
        self._handles.update(dict.fromkeys(vessel.ids, vessel.handle))
        for holder in vessel.holders:
            self._wheres.update(dict.fromkeys(holder.ids, holder.where))
        for position in vessel.positions:
            self._wheres.update(dict.fromkeys(position.ids, position.where))
            for copy in position.copies:
                self._reads.update({read.record: (position, copy) for read in copy.reads})

    def take(self, history: Sequence[Stored]) -> None:
        """Go through the records about one vessel, or about the vault."""
        digests = {stored.digest for stored in history}
        for stored in history:
            record = stored.record
            for digest in record.objects:
                file = self._lost(objects.file_of(digest))
                if file:
                    self._object(file, digest, stored)
            file = self._lost(stored.file)
            if file:
                self._add(file, self._loss(self._described(stored), stored))
            for parent in record.after:
                file = self._lost(records.file_of(parent)) if parent not in digests else None
                if file:
                    text = f"a record about {self._ship(record)}; its content is not known"
                    source = self._vessel(record), None, stored.digest, record.vessel
                    self._add(file, Loss(text, *source))

    def losses(self) -> dict[str, tuple[Loss, ...]]:
        """Return what is lost, by file."""
        for (file, ship), count in self._signed.items():
            noun = "record" if count == 1 else "records"
            text = f"the name of the person who made {count} {noun} about {ship}"
            last = self._signers[file, ship]
            source = self._vessel(last.record), None, last.digest, last.record.vessel
            self._add(file, Loss(text, *source))
        return {file: tuple(lost.values()) for file, lost in sorted(self._by_file.items())}

    def _lost(self, file: str) -> str | None:
        """Return the damaged file, or folder that cannot be read, that this one is or is in."""
        if file in self._files:
            return file
        folder = file.rpartition("/")[0]
        return folder if folder in self._files else None

    def _add(self, file: str, loss: Loss) -> None:
        self._by_file.setdefault(file, {}).setdefault(loss.text, loss)

    def _object(self, file: str, digest: str, stored: Stored) -> None:
        if digest == stored.record.by:
            signed = file, self._ship(stored.record)
            self._signed[signed] += 1
            self._signers[signed] = stored
        in_dump, texts = self._parts(digest, stored)
        for text in texts:
            self._add(file, self._loss(text, stored, in_dump=in_dump))

    def _parts(self, digest: str, stored: Stored) -> tuple[bool, list[str]]:
        """Return what an object is in a record, and whether a dump archived again holds it."""
        record = stored.record
        kind = bodies.KINDS.get(record.kind)
        body = bodies.sound(stored, kind) if kind else None
        match body:
            case bodies.ReadBody():
                dumped = [*self._dumped(digest, stored, body)]
                return bool(dumped), dumped + self._attached(digest, stored, body)
            case bodies.ReadBackBody():
                parts = [f"a dump of {self._described(stored)}"] * any(
                    dump.sha256 == digest for dump in body.dumps
                )
                if digest in (body.image.sha256, body.selected.sha256):
                    parts.append(f"the bytes compared in {self._described(stored)}")
                return False, parts
            case bodies.LayoutAttachedBody():
                return False, self._of_layout(digest, stored, body)
            case bodies.CardSheetBody() if body.sheet == digest:
                return False, [f"the card sheet {body.name} of {self._unit(body.unit, record)}"]
            case _ if digest != record.by:
                return False, [f"a file that {self._described(stored)} relies on"]
        return False, []

    def _dumped(self, digest: str, stored: Stored, body: bodies.ReadBody) -> Iterator[str]:
        where = self._where(stored, body.position)
        if body.image.sha256 == digest:
            copy = self._reads[stored.digest][1] if stored.digest in self._reads else None
            name = f"copy {copy.number} of {where}" if copy else f"a copy of {where}"
            day = copy.newest.read_on if copy else _day(stored.record)
            yield f"the bytes of {name}, {digest[:8]}, read on {day}"
        for dump in body.dumps:
            if dump.sha256 == digest:
                yield f"the dump {dump.name} of {self._described(stored)}, as the reader wrote it"

    def _of_layout(
        self, digest: str, stored: Stored, body: bodies.ReadBody | bodies.LayoutAttachedBody
    ) -> list[str]:
        if body.layout and digest in {body.layout.sha256, *(p.sha256 for p in body.layout.parts)}:
            return [f"the layout {body.layout.name} of {self._where(stored, body.position)}"]
        return []

    def _attached(self, digest: str, stored: Stored, body: bodies.ReadBody) -> list[str]:
        parts = self._of_layout(digest, stored, body)
        if body.profile and body.profile.sha256 == digest:
            parts.append(f"the reader profile {body.profile.name} of {self._described(stored)}")
        return parts

    # --- words ---

    def _described(self, stored: Stored) -> str:
        """Return a record in words."""
        record = stored.record
        read = self._reads.get(stored.digest)
        if read:
            day = next(r.read_on for r in read[1].reads if r.record == stored.digest)
            return f"the read of {read[0].where} of {day}"
        position = record.body.get("position")
        about = self._wheres.get(position) if isinstance(position, str) else None
        return f"the record `{record.kind}` of {_day(record)} about {about or self._ship(record)}"

    def _loss(self, text: str, stored: Stored, *, in_dump: bool = False) -> Loss:
        position = stored.record.body.get("position") or stored.record.body.get("unit")
        where = self._where(stored, position if isinstance(position, str) else "", or_ship=False)
        record = stored.record
        source = self._vessel(record), where or None, stored.digest, record.vessel
        return Loss(text, *source, in_dump)

    def _where(self, stored: Stored, position: str, *, or_ship: bool = True) -> str:
        read = self._reads.get(stored.digest)
        if read:
            return read[0].where
        return self._wheres.get(position, self._ship(stored.record) if or_ship else "")

    def _unit(self, identity: str, record: Record) -> str:
        return self._wheres.get(identity) or self._ship(record)

    def _vessel(self, record: Record) -> str | None:
        return self._handles.get(record.vessel or "")

    def _ship(self, record: Record) -> str:
        if record.vessel is None:
            return "the vault itself"
        return self._handles.get(record.vessel) or f"the vessel {record.vessel[:8]}"


def _day(record: Record) -> str:
    return record.clock.utc[:10]
