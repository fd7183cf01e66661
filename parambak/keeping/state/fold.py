"""From the records of a vault to its vessels and copies: worked out at each call, never stored."""

from __future__ import annotations

from datetime import UTC, date, datetime
from functools import partial
from typing import TYPE_CHECKING

from msgspec.structs import replace

from parambak.errors import VaultDamaged
from parambak.keeping.state import bodies
from parambak.keeping.state.bodies import RecheckBody, body_of
from parambak.keeping.state.chip_numbers import exchanges_at, numbered
from parambak.keeping.state.counting import counting_of_kind, withdrawals_in, without
from parambak.keeping.state.facts import conflicts, merged_facts, size_in
from parambak.keeping.state.lost_records import lost_records, unplaced
from parambak.keeping.state.model import (
    Aboard,
    AttachedLayout,
    Card,
    Copy,
    Explanation,
    Fleet,
    Loader,
    Position,
    Read,
    Unit,
    Vessel,
    Visit,
)
from parambak.keeping.state.read_facts import ReadFacts
from parambak.keeping.state.record_sets import (
    IdentityRecords,
    VesselRecords,
    local_time,
    time_of,
)
from parambak.keeping.state.unsettled import (
    AcceptedLoss,
    Conflict,
    LostRecord,
    Unsettled,
)
from parambak.keeping.state.vessel_names import (
    grouped_by_vessel,
    names_of,
    vessel_identities,
    with_handles,
)
from parambak.keeping.state.visits import visits_of
from parambak.vault.records import file_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from parambak.keeping.state.counting import Withdrawals
    from parambak.keeping.state.vessel_names import VesselIdentity
    from parambak.vault.records import Stored
    from parambak.vault.vault import Vault

    Members = Sequence[tuple[IdentityRecords, str]]

VISIT_OPENED, VISIT_CLOSED = bodies.VisitOpenedBody.kind, bodies.VisitClosedBody.kind
MOST_RECORD_SETS = 4  # identities whose records are kept sorted, for the next fold


def fleet(vault: Vault) -> Fleet:
    """Return all vessels of a vault, by its records.

    Their names are worked out at once, from the few records that have them; what is aboard a
    vessel is read when asked for.
    """
    return Folding(vault).fleet()


class Folding:
    """Folds one vault, and again after its records have changed, without reading all again.

    With `as_recorded`, records that are withdrawn count too: for lists of what was withdrawn.
    """

    def __init__(self, vault: Vault, *, as_recorded: bool = False) -> None:
        self.vault = vault
        self._as_recorded = as_recorded
        self._record_sets: dict[str, IdentityRecords] = {}
        self._naming_records: object = None
        self._withdrawn: dict[str, Withdrawals] = {}
        self._identities: list[VesselIdentity] = []
        self._changes = -1
        self._fleet = Fleet(())
        self._about_vault: tuple[int, list[LostRecord]] | None = None

    def fleet(self) -> Fleet:
        """Return the vessels by the records now: the same value as long as they are the same."""
        naming_records = self.vault.telling()
        withdrawn = self._withdrawn
        if self.vault.changes != self._changes:
            withdrawn = {v: withdrawals_in(self.vault, v) for v in self._with_withdrawals()}
        if naming_records is not self._naming_records or withdrawn != self._withdrawn:
            self._naming_records, self._withdrawn = naming_records, withdrawn
            self._identities = vessel_identities(self.vault, withdrawn)
            self._changes = -1
        if self.vault.changes != self._changes:
            self._changes = self.vault.changes
            self._fleet = self._folded()
        return self._fleet

    def _with_withdrawals(self) -> tuple[str, ...]:
        return () if self._as_recorded else self.vault.vessels_with(bodies.WithdrawnBody.kind)

    def _folded(self) -> Fleet:
        vault = self.vault
        visited = frozenset(vault.vessels_with(VISIT_OPENED))
        named = [names_of(ship) for ship in grouped_by_vessel(self._identities)]
        vessels = []
        for names, handle in with_handles(named):
            ids, against = names.ids, names.conflicts(handle)
            loader = Loader(
                partial(self._aboard, ids, handle, against), partial(self._visits, ids & visited)
            )
            vessel = Vessel(
                ids,
                names.short,
                handle,
                facts=names.facts,
                former=names.former,
                conflicts=against,
                loader=loader,
            )
            vessels.append(vessel)
        return Fleet(tuple(vessels), partial(_last_sound_recheck, vault))

    def _visits(self, visited: frozenset[str]) -> tuple[Visit, ...]:
        return tuple(
            visit
            for vessel in sorted(visited)
            for visit in visits_of(
                vessel, self._of_kind(vessel, VISIT_OPENED), self._of_kind(vessel, VISIT_CLOSED)
            )
        )

    def _of_kind(self, vessel: str, kind: str) -> Sequence[Stored]:
        return without(self.vault.of_kind(vessel, kind), self._withdrawn.get(vessel, {}))

    def _aboard(self, ids: frozenset[str], handle: str, against: tuple[Conflict, ...]) -> Aboard:
        record_sets = [self._records_of(identity) for identity in sorted(ids)]
        ship = VesselRecords(record_sets, self._origin)
        rules = ship.file_conflict(bodies.ShipsRulesBody.kind, ship.ids, "rules", handle)
        lost, accepted = self._lost(ship)
        unsettled = Unsettled(lost, (*against, *rules), accepted)
        return Aboard(
            units=_units(ship, handle, unsettled),
            cards=_cards(ship, handle, unsettled),
            unsettled=unsettled,
            homes={
                entity: records.identity for records in ship.record_sets for entity in records.kinds
            },
            damaged=tuple(record for records in ship.record_sets for record in records.damaged),
            missing=tuple(
                file_of(digest) for records in ship.record_sets for digest in records.missing()
            ),
        )

    def _lost(self, ship: VesselRecords) -> tuple[tuple[LostRecord, ...], tuple[AcceptedLoss, ...]]:
        """Return the lost records that may be about a ship, and those losses that were accepted."""
        if self._about_vault is None or self._about_vault[0] != self.vault.changes:
            about_vault = lost_records(self.vault, None, self.vault.records(None))
            self._about_vault = self.vault.changes, [*about_vault, *unplaced(self.vault)]
        lost = {record.digest: record for record in self._about_vault[1]}
        accepted: list[AcceptedLoss] = []
        for records in ship.record_sets:
            for record in lost_records(self.vault, records.identity, records.stored):
                lost[record.digest] = record
            for digest, why in records.unusable.items():
                lost[digest] = LostRecord(digest, why)
            accepted += records.accepted
        standing = [a for a in accepted if a.objects or lost.keys() & set(a.records)]
        return tuple(lost.values()), tuple(standing)

    def _origin(self, identity: str) -> IdentityRecords | None:
        """Return the records of a vessel that a read was moved from, if they are here."""
        return self._records_of(identity) if identity in self.vault.telling() else None

    def _records_of(self, identity: str) -> IdentityRecords:
        stored = self.vault.records(identity)
        withdrawn = self._withdrawn.get(identity, {})
        records = self._record_sets.get(identity)
        if records is None or not records.extend(stored, withdrawn):
            while len(self._record_sets) >= MOST_RECORD_SETS:
                self._record_sets.pop(next(iter(self._record_sets)))
            records = self._record_sets[identity] = IdentityRecords(identity, stored, withdrawn)
        return records


def _units(ship: VesselRecords, vessel: str, unsettled: Unsettled) -> tuple[Unit, ...]:
    units = []
    kind = bodies.CardSheetBody.kind
    for members in ship.named("unit", "short").values():
        facts, values = merged_facts(members)
        short = facts.get("short", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/{short}"
        against = (*conflicts(values, where), *ship.file_conflict(kind, ids, "sheet", where))
        positions = _positions(ship, ids, where, unsettled, against)
        former = _former(members, short)
        sheet = ship.last_file(kind, ids)
        units.append(Unit(ids, short, where, facts, positions, sheet, against, former))
    return tuple(units)


def _former(members: Members, short: str) -> tuple[str, ...]:
    """Return the short names that a thing had under its identities, without today's."""
    names = [
        name
        for records, entity in members
        for name in (
            *records.facts.earlier(entity, "short"),
            *records.facts.current(entity).get("short", ()),
        )
    ]
    return tuple(dict.fromkeys(name for name in names if name and name != short))


def _cards(ship: VesselRecords, vessel: str, unsettled: Unsettled) -> tuple[Card, ...]:
    cards = []
    kind = bodies.SheetOfCardBody.kind
    for members in ship.named("card", "serial").values():
        facts, values = merged_facts(members)
        serial = facts.get("serial", "")
        ids = frozenset(entity for _, entity in members)
        where = f"{vessel}/card:{serial}"
        against = (*conflicts(values, where), *ship.file_conflict(kind, ids, "sheet", where))
        positions = _positions(ship, ids, where, unsettled, against)
        sheet = ship.last_file(kind, ids)
        cards.append(Card(ids, serial, where, facts, positions, against, sheet))
    return tuple(cards)


def _positions(
    ship: VesselRecords,
    holder: frozenset[str],
    where: str,
    unsettled: Unsettled,
    of_holder: tuple[Conflict, ...],
) -> tuple[Position, ...]:
    """Return the positions of a holder; what is unsettled about the vessel and it is theirs too."""
    positions = []
    rules = ship.last_file(bodies.ShipsRulesBody.kind, ship.ids)
    for members in ship.named("position", "short").values():
        inside = [member for member in members if member[0].inside.get(member[1]) in holder]
        if not inside:
            continue
        facts, values = merged_facts(inside)
        ids = frozenset(entity for _, entity in inside)
        at = f"{where}/{facts.get('short', '')}"
        made, of_reads = _reads(ship, ids, at)
        reads = numbered(made, exchanges := exchanges_at(ship, ids))
        attached = _attached(ship, ids)
        layouts = ship.layout_conflict(_layouts(reads, attached), at)
        against = (*conflicts(values, at), *of_reads, *layouts)
        positions.append(
            Position(
                ids=ids,
                short=facts.get("short", ""),
                where=at,
                chip=facts.get("chip"),
                size=size_in(facts.get("size")),
                copies=_copies(reads),
                out_of_order=_out_of_order(reads),
                conflicts=against,
                former=_former(inside, facts.get("short", "")),
                rules=rules,
                written=tuple(order for order, _ in exchanges.released),
                explanations=_explanations(ship, ids),
                attached=attached,
                unsettled=unsettled.at(ids, (*of_holder, *against)),
            )
        )
    return tuple(positions)


def _layouts(
    reads: Iterable[Read], attached: Iterable[AttachedLayout]
) -> Iterator[tuple[int, str, bodies.LayoutEntry]]:
    """Yield order and record of each layout that was named for a position, and the layout."""
    yield from ((read.order, read.record, read.layout) for read in reads if read.layout)
    yield from ((given.order, given.record, given.entry) for given in attached)


def _explanations(ship: VesselRecords, position: frozenset[str]) -> tuple[Explanation, ...]:
    """Return the remarks with a name on images of a position that differ."""
    return tuple(
        Explanation(frozenset(body.reads), stored.record.by, body.text)
        for records in ship.record_sets
        for stored, body in records.remarked
        if body.position in position and stored.record.by and body.reads
    )


def _attached(ship: VesselRecords, position: frozenset[str]) -> tuple[AttachedLayout, ...]:
    """Return the layouts attached to a position without a read."""
    return tuple(
        AttachedLayout(
            body.layout, stored.digest, ship.order(stored.digest), local_time(stored.record)
        )
        for records in ship.record_sets
        for stored, body in records.layouts
        if body.position in position
    )


def _reads(
    ship: VesselRecords, position: frozenset[str], where: str
) -> tuple[list[Read], list[Conflict]]:
    """Return a position's reads by date, then by order of the records, and their conflicts."""
    reads = []
    against = [*ship.conflicts_of_reads(position, where)]
    for identity in sorted(position):
        for records, stored, body in ship.reads.get(identity, ()):
            reads.append(_read(ship, records, stored, body))
            moves = ship.moves_of(body)
            if len(moves) > 1:
                against.append(Conflict("position", moves, _copy_at(where, body)))
    for records in ship.record_sets:
        for record, body in records.moved_away.items():
            moves = records.facts.current(record).get("position", ())
            if len(moves) > 1 and not position.isdisjoint(moves):
                against.append(Conflict("position", moves, _copy_at(where, body)))
        reads += [
            _from_read_back(ship, records, *records.read_backs[record])
            for record in dict.fromkeys(records.taken_in)
            if record in records.read_backs and records.read_backs[record][1].position in position
        ]
    return _in_time(reads), against


def _in_time(reads: Iterable[Read]) -> list[Read]:
    """Return reads by date; of a day by their hours if all have one, else as they were recorded."""
    by_day: dict[date, list[Read]] = {}
    for read in reads:
        by_day.setdefault(read.read_on, []).append(read)
    placed: list[Read] = []
    for of_day in by_day.values():
        if len(of_day) > 1 and all(read.read_at for read in of_day):
            of_day.sort(key=lambda read: (read.read_at or "", read.order))
            placed += [replace(read, place=place) for place, read in enumerate(of_day)]
        else:
            placed += of_day
    return sorted(placed, key=lambda read: read.when)


def _copy_at(where: str, body: bodies.ReadBody) -> str:
    return f"{where}@{body.image.sha256[:8]}"


def _from_read_back(
    ship: VesselRecords, records: IdentityRecords, stored: Stored, body: bodies.ReadBackBody
) -> Read:
    """Return the read that a read-back is, once its swap was closed."""
    taken_in = local_time(stored.record)
    return Read(
        record=stored.digest,
        vessel=records.identity,
        call=body.call or stored.digest[:32],
        order=ship.order(stored.digest),
        image=body.image,
        dumps=body.dumps,
        read_on=taken_in.date(),
        stated=False,
        taken_in=taken_in,
        writer=stored.record.writer,
        by=stored.record.by,
        facts=ReadFacts(),
        layout=body.layout,
    )


def _read(
    ship: VesselRecords, records: IdentityRecords, stored: Stored, body: bodies.ReadBody
) -> Read:
    corrected = records.facts.texts(stored.digest) if stored.digest in records.facts else {}
    before = body.moved_from
    taken_in = time_of(before.clock) if before else local_time(stored.record)
    stated = corrected.get("read_on", body.read_on)
    return Read(
        record=stored.digest,
        vessel=records.identity,
        call=body.call,
        order=ship.order(stored.digest),
        image=body.image,
        dumps=body.dumps,
        read_on=date.fromisoformat(stated) if stated else taken_in.date(),
        stated=stated is not None,
        taken_in=taken_in,
        writer=before.writer if before else stored.record.writer,
        by=before.by if before else stored.record.by,
        facts=body,
        reader_sum=body.reader_sum,
        layout=body.layout,
        normal=body.normal,
        size=body.size,
        remark=corrected.get("remark", body.remark),
        visit=body.visit,
        read_at=body.read_at if "read_on" not in corrected else None,
        reconstructed_from=body.reconstructed_from,
    )


def _copies(reads: Sequence[Read]) -> tuple[Copy, ...]:
    """Return one copy for each image, ordered by its newest read."""
    by_image: dict[bodies.ImageEntry, list[Read]] = {}
    for read in reads:
        earlier = by_image.pop(read.image, [])
        by_image[read.image] = [*earlier, read]
    return tuple(
        Copy(number, image, tuple(of_image))
        for number, (image, of_image) in enumerate(by_image.items(), start=1)
    )


def _out_of_order(reads: Sequence[Read]) -> bool:
    """Return whether the newest read by date is not the newest record."""
    return bool(reads) and reads[-1].order != max(read.order for read in reads)


def _last_sound_recheck(vault: Vault) -> datetime | None:
    rechecks = counting_of_kind(vault, None, RecheckBody.kind)
    return last_full_recheck(rechecks, vault.folder_mark, sound=True)


def last_full_recheck(
    records: Iterable[Stored], folder: str | None, *, sound: bool
) -> datetime | None:
    """Return the start of the newest recheck that read every file of this folder.

    `folder` is the folder's mark: a recheck of another copy of the vault does not count. With
    `sound`, nor does one with damage.
    """
    newest = None
    for stored in records:
        if stored.record.kind != RecheckBody.kind:
            continue
        try:
            body = body_of(stored.record, stored.digest, RecheckBody)
            begun = datetime.fromisoformat(body.since or stored.record.clock.utc)
            since = begun.astimezone(UTC)
        except (VaultDamaged, ValueError, OverflowError):
            continue  # it proves nothing
        if begun.tzinfo is None:
            continue
        if folder is not None and body.folder == folder and not (sound and body.damaged):
            newest = max(since, newest) if newest else since
    return newest
