"""Puts on record what is lost: accepted by a person, or left out when files were taken in."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault
from parambak.keeping.recording.entries import add_signed
from parambak.keeping.recording.texts import NAME, REMARK, check_texts, kept_name
from parambak.keeping.state import bodies, select
from parambak.keeping.state.bodies import LeftOutBody, LossAcceptedBody
from parambak.keeping.state.fold import fleet
from parambak.vault.own import VAULT

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from parambak.keeping.state.model import Position, Vessel
    from parambak.keeping.state.unsettled import LostRecord
    from parambak.vault.vault import Vault, Writing

LOSS_NONE = Fault(
    "loss-none",
    CallRefused,
    "nothing is lost at {where}, so there is no loss to accept",
    "Run `parambak recheck` to see what is damaged or missing in the vault.",
)
MOST = 4000  # digests in one record; more go into further records


class LossesAccepted(NamedTuple):
    """The losses that were accepted, and the positions that they were accepted for."""

    records: tuple[LostRecord, ...]
    objects: tuple[str, ...]
    positions: tuple[Position, ...]


def accept_loss(
    vault: Vault, where: str, *, reason: str, by: str, objects: Mapping[str, str]
) -> LossesAccepted:
    """Put on record that a person goes on without what is lost at a WHERE or a part of it.

    `objects` are lost objects by digest, each with the WHERE that it is of. Raise CallRefused if
    nothing is lost there.
    """
    check_texts([("name of the person", by, NAME), ("reason", reason, REMARK)])
    with vault.writing() as writing:
        ships = fleet(vault)
        vessel = select.vessel_at(ships, where)
        positions = select.find_positions(ships, where)
        lost = {record.digest: record for p in positions for record in p.unsettled.lost}
        if select.parse_where(where).holder is None:
            lost |= {record.digest: record for record in vessel.aboard.unsettled.lost}
            lost_objects = sorted(objects)
        else:
            own = {position.where for position in positions}
            lost_objects = sorted(digest for digest, at in objects.items() if at in own)
        if not lost and not lost_objects:
            raise LOSS_NONE.error(where=where, expected="a lost record or file", found="none")
        for home, ids in _by_home(vessel, positions).items():
            for some, others in _in_parts(sorted(lost), lost_objects):
                body = LossAcceptedBody(positions=ids, reason=reason, records=some, objects=others)
                add_signed(writing, home, body, by)
    return LossesAccepted(tuple(lost.values()), tuple(lost_objects), positions)


def _by_home(vessel: Vessel, positions: Iterable[Position]) -> dict[str, tuple[str, ...]]:
    """Return the identities of the positions by the identity of the vessel that has them."""
    homes: dict[str, list[str]] = {}
    for position in positions:
        for home, identity in vessel.homes(position.ids):
            homes.setdefault(home, []).append(identity)
    return {home: tuple(sorted(ids)) for home, ids in homes.items()} or {vessel.id: ()}


def _in_parts(
    first: Sequence[str], second: Sequence[str]
) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Yield both lists in parts that one record can hold."""
    for start in range(0, max(len(first), len(second)), MOST):
        end = start + MOST
        yield tuple(first[start:end]), tuple(second[start:end])


class LeftOut(NamedTuple):
    """What a source held that did not come in.

    `records` gives each record's vessel, VAULT for the vault itself, None if that is not known.
    `unread` files of it could not be read at all.
    """

    source: str
    records: Mapping[str, str | None]
    unread: int = 0


def note_left_out(vault: Vault, writing: Writing, left: LeftOut, vessels: Iterable[str]) -> None:
    """Put on record, for each of these vessels, which records of a source did not come in.

    A record of which the vessel is not known may be about any of them.
    """
    source = kept_name(left.source)
    for vessel in (None, *vessels):
        stored = vault.records(vessel)
        if not stored:
            continue
        known = set(vault.missing_records())
        for _, body in bodies.of_kind(stored, LeftOutBody):
            known.update(body.records)
        own = (vessel or VAULT, None) if vessel else (VAULT,)
        about = {digest for digest, of in left.records.items() if of in own}
        missing = sorted(digest for digest in about - known if not vault.holds(digest))
        unread = left.unread if vessel else 0
        for some, _ in _in_parts(missing or ([""] if unread else []), ()):
            body = LeftOutBody(source=source, records=some if missing else (), unread=unread)
            writing.add(body.kind, vessel, body.members())
