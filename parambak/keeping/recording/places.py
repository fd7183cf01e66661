"""Places: adding, naming and giving them up, and what a sending puts on record."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from parambak.errors import CallRefused, Fault, NotFound, VaultDamaged, VaultRefused
from parambak.keeping.state import select
from parambak.keeping.state.bodies import HeldBody, PlaceBody
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.holdings import newest_held, standing
from parambak.keeping.state.names import check_short
from parambak.keeping.state.record_sets import local_time
from parambak.vault.locations.location import contents_at, make_location, refusal, require_location
from parambak.vault.locations.send import Location, SendingFailed, Sent, send

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import date, datetime

    from parambak.vault.locations.send import Proven
    from parambak.vault.locations.stores import Store
    from parambak.vault.vault import Vault

UNKNOWN = Fault(
    "place-unknown",
    NotFound,
    "no place of that name is known",
    "Run `parambak place list`, or add it with `parambak place add NAME ADDRESS`.",
)
TWO = Fault(
    "place-two",
    CallRefused,
    "more than one place has that name",
    "Name the one that is meant with its ~ and digits, as `parambak place list` shows it.",
)
NAME_TAKEN = Fault(
    "place-name-taken",
    CallRefused,
    "another place has that name",
    "Choose another name, or give the other one up with `parambak place remove {name}`.",
)
KNOWN = Fault(
    "place-known-already",
    CallRefused,
    "this place is known already, by another name",
    "Use its name, {name}; `parambak place remove {name}` gives it up first.",
)


class Place(Struct, frozen=True):
    """A place as the records tell of it; `handle` names it without doubt.

    `vessels` are the identities that it is limited to, None for all.
    """

    id: str
    name: str
    handle: str
    address: str
    vessels: frozenset[str] | None
    packed: bool


def places(vault: Vault) -> tuple[Place, ...]:
    """Return the places that were not given up, by name."""
    told = [body for body in standing(vault.records(None)).values() if not body.removed]
    names = [body.name.casefold() for body in told]
    found = [
        Place(
            id=body.place,
            name=body.name,
            handle=body.name
            if names.count(body.name.casefold()) == 1
            else f"{body.name}~{body.place[:8]}",
            address=body.address,
            vessels=None if body.vessels is None else frozenset(body.vessels),
            packed=body.packed,
        )
        for body in told
    ]
    return tuple(sorted(found, key=lambda place: (place.name.casefold(), place.id)))


def find_place(vault: Vault, name: str) -> Place:
    """Return the one place of that name; raise NotFound or CallRefused otherwise."""
    wanted = name.casefold()
    every = places(vault)
    found = [place for place in every if wanted == place.handle.casefold()] or [
        place for place in every if wanted == place.name.casefold()
    ]
    if not found:
        expected = " or ".join(place.handle for place in every[:8]) or "none is known yet"
        raise UNKNOWN.error(expected=expected, found=repr(name[:80]))
    if len(found) > 1:
        raise TWO.error(expected=" or ".join(place.handle for place in found), found=name)
    return found[0]


def identities(vault: Vault, names: Iterable[str]) -> tuple[str, ...] | None:
    """Return every identity of the vessels named, rising; None where none is named."""
    known = fleet(vault)
    found = {each for name in names for each in select.find_vessel(known, name).ids}
    return tuple(sorted(found)) or None


def add_place(  # noqa: PLR0913 - what a place is, all by keyword
    vault: Vault,
    store: Store,
    *,
    name: str,
    address: str,
    vessels: Sequence[str],
    packed: bool,
    merge: bool,
) -> Place:
    """Make what is at the store a place of this vault, and put it on record."""
    check_short(name, "place")
    chosen = identities(vault, vessels)
    known = places(vault)
    there = contents_at(store).location
    for place in known:
        if place.name.casefold() == name.casefold() and place.id != there:
            found = f"{place.handle} at {place.address}"
            raise NAME_TAKEN.error(name=place.handle, expected="a new name", found=found)
        if place.id == there and place.name.casefold() != name.casefold():
            raise KNOWN.error(name=place.handle, expected=place.handle, found=name)
    identity = make_location(
        store,
        vault=vault.identity,
        known=standing(vault.records(None)).keys(),
        limited=chosen is not None,
        packed=packed,
        merge=merge,
    )
    body = PlaceBody(place=identity, name=name, address=address, vessels=chosen, packed=packed)
    _tell(vault, body)
    return find_place(vault, name)


def remove_place(vault: Vault, name: str) -> Place:
    """Put on record that a place was given up; nothing in it is touched."""
    place = find_place(vault, name)
    _tell(vault, replace(standing(vault.records(None))[place.id], removed=True))
    return place


def _tell(vault: Vault, body: PlaceBody) -> None:
    with vault.writing() as writing:
        if standing(vault.records(None)).get(body.place) != body:
            writing.add("place", None, body.members())


def send_to(  # noqa: PLR0913 - how to send, all by keyword
    vault: Vault,
    store: Store,
    place: Place,
    *,
    now: Callable[[], datetime],
    since: str,
    progress: Callable[[int, int], None],
    quick: bool = False,
    both_ways: bool = False,
) -> tuple[Sent, tuple[str, ...]]:
    """Send to a place, and put on record what it was found to hold; return notes as well.

    Where it breaks off, what was through till then is put on record, and the refusal raised.
    """
    require_location(store, place.id, packed=place.packed)
    try:
        with store.holding(since):
            sent = _sent(vault, store, place, progress, quick=quick, both_ways=both_ways)
    except SendingFailed as broken:
        put_on_record(vault, place, broken.proven, now().date())
        raise broken.refusal from broken
    except OSError as error:  # not even the lock
        raise refusal(store, error, 0, 1) from error
    return sent, put_on_record(vault, place, sent.proven, now().date())


def _sent(  # noqa: PLR0913 - how to send, all by keyword
    vault: Vault,
    store: Store,
    place: Place,
    progress: Callable[[int, int], None],
    *,
    quick: bool,
    both_ways: bool,
) -> Sent:
    target = Location(place.id, place.vessels, place.packed)
    if not place.packed:
        return send(vault, store, target, progress, quick=quick, both_ways=both_ways)
    from parambak.vault.locations.packed import send_packed  # noqa: PLC0415 - few places are packed

    names = {each: ship.short for ship in fleet(vault).vessels for each in ship.ids}
    return send_packed(vault, store, target, names, progress, quick=quick, both_ways=both_ways)


def put_on_record(
    vault: Vault, place: Place, proven: Sequence[Proven], today: date
) -> tuple[str, ...]:
    """Write a record `held` for each vessel, but for what today's says already.

    Returns a note where the vault could not be written: what was sent is there all the same.
    """
    try:
        _write_held(vault, place, proven, today)
    except (VaultRefused, VaultDamaged) as error:
        return (f"what {place.name} holds is not on record: {error.text}",)
    return ()


def _write_held(vault: Vault, place: Place, proven: Sequence[Proven], today: date) -> None:
    if not proven:
        return
    with vault.writing() as writing:
        for each in proven:
            body = HeldBody(
                place=place.id,
                name=place.name,
                heads=each.heads,
                records=each.records,
                objects=each.objects,
                hashed=each.hashed,
                lacking=each.lacking,
            )
            last = newest_held(vault.records(each.vessel)).get(place.id)
            said = last is not None and last[1] == body and local_time(last[0].record).date()
            if said != today:
                writing.add("held", each.vessel, body.members())
