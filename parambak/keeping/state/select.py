"""WHERE and COPY: from what a user types to one position and one copy.

WHERE is VESSEL/UNIT/POSITION; for a card that is in no unit,
VESSEL/card:SERIAL/POSITION. COPY is WHERE@WHICH.
"""

from __future__ import annotations

import re
from datetime import date
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from parambak.errors import CallRefused, Fault, NotFound, ParambakError, VaultDamaged
from parambak.memory.names import nearest_in_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.keeping.state.model import Card, Copy, Fleet, Position, Read, Unit, Vessel

    AnyNamed = TypeVar("AnyNamed", Unit, Position)

CARD = "card:"
MOST_LISTED = 4  # positions that a message names
NO_COPY = "one of 0 copies"
MOST_TYPED = 80  # characters of what was typed that a message repeats
WHERE_SHAPE = Fault(
    "where-shape",
    CallRefused,
    "that is not the name of a position",
    "Write VESSEL/UNIT/POSITION, for example grebe/port-thruster/U12; `catalogue` lists them.",
)
WHERE_VESSEL = Fault(
    "where-vessel", NotFound, "no such vessel in the vault", "Run `parambak catalogue` to see them."
)
WHERE_NAME_LOST = Fault(
    "where-name-lost",
    VaultDamaged,
    "no vessel of that name is on record, and a record that names one is damaged or missing",
    "Fetch the files named here from another copy of the vault; `parambak recheck` lists all "
    "damage. Until then, name such a vessel by the first digits of its identity.",
)
WHERE_TWO_VESSELS = Fault(
    "where-two-vessels",
    CallRefused,
    "more than one vessel has that name",
    "Name the right one with its ~ and digits, or by its IMO number. If both are one ship, give "
    "both the same IMO number with `correct … --imo`.",
)
WHERE_UNIT = Fault(
    "where-unit", NotFound, "no such unit on that vessel", "Run `parambak catalogue {vessel}`."
)
WHERE_CARD = Fault(
    "where-card", NotFound, "no card with that serial number", "Run `parambak catalogue {vessel}`."
)
WHERE_POSITION = Fault(
    "where-position",
    NotFound,
    "no such position in that unit or card",
    "Run `parambak catalogue {holder}`.",
)
COPY_NONE = Fault(
    "copy-none",
    NotFound,
    "no copy of that name or number",
    "Run `parambak catalogue {where}`. WHICH is latest, previous, a date, a number or a SHA-256.",
)
COPY_SHAPE = Fault(
    "copy-shape",
    CallRefused,
    "WHICH does not name a copy",
    "Give latest, previous, a date such as 2026-03-01, a number from 1, or the first eight "
    "digits of a SHA-256.",
)
COPY_TWO = Fault(
    "copy-two",
    CallRefused,
    "more than one copy begins with those digits",
    "Give more digits of the SHA-256.",
)


class Where(NamedTuple):
    """The parts of a WHERE as typed; those left out are None."""

    vessel: str
    holder: str | None
    position: str | None


def parse_where(text: str) -> Where:
    """Split a WHERE, or a part of one; raise CallRefused if it has another shape."""
    parts = text.split("/")
    if not 1 <= len(parts) <= 3 or not all(parts):
        expected = "VESSEL/UNIT/POSITION, or its first parts"
        raise WHERE_SHAPE.error(expected=expected, found=_typed(text))
    return Where(
        parts[0], parts[1] if len(parts) > 1 else None, parts[2] if len(parts) > 2 else None
    )


def vessels_named(fleet: Fleet, name: str) -> list[Vessel]:
    """Return every vessel that answers to a handle, short name, former name or IMO number."""
    typed = name.casefold()
    exact = [v for v in fleet.vessels if typed == v.handle.casefold()]
    if exact:
        return exact
    short = [v for v in fleet.vessels if typed == v.short.casefold()]
    if short:
        return short
    number = typed.removeprefix("imo").strip()
    by_number = [v for v in fleet.vessels if number and v.facts.get("imo") == number]
    if by_number:
        return by_number
    return [v for v in fleet.vessels if typed in {f.casefold() for f in v.former}]


def vessel_at(fleet: Fleet, where: str) -> Vessel:
    """Return the vessel of a WHERE, any other part ignored; raise as `find_vessel`."""
    return find_vessel(fleet, parse_where(where).vessel)


def find_vessel(fleet: Fleet, name: str) -> Vessel:
    """Return the one vessel of that name; raise NotFound or CallRefused otherwise."""
    matches = vessels_named(fleet, name)
    if not matches:
        refuse_lost_name(fleet, name)
        raise WHERE_VESSEL.error(
            expected=_nearest(name, [v.handle for v in fleet.vessels]), found=_typed(name)
        )
    if len(matches) > 1:
        raise WHERE_TWO_VESSELS.error(
            expected=" or ".join(v.handle for v in matches), found=_typed(name)
        )
    return matches[0]


def refuse_lost_name(fleet: Fleet, name: str) -> None:
    """Raise VaultDamaged if a vessel has lost its name: it may be the vessel that was typed."""
    lost = [vessel for vessel in fleet.vessels if not vessel.named]
    if lost:
        files = [
            file
            for vessel in lost
            for file in (*vessel.aboard.missing, *(file for file, _ in vessel.aboard.damaged))
        ]
        raise WHERE_NAME_LOST.error(
            file=next(iter(files), None),
            expected="a name, or " + " or ".join(vessel.handle for vessel in lost[:5]),
            found=f"{_typed(name)}; damaged or missing: {', '.join(files[:5]) or 'not known'}",
        )


def find_holder(vessel: Vessel, name: str) -> Unit | Card:
    """Return the unit of that name, or with `card:SERIAL` the card; raise NotFound."""
    typed = name.casefold()
    if typed.startswith(CARD):
        serials = {card.serial.casefold(): card for card in vessel.cards}
        card = serials.get(typed.removeprefix(CARD))
        if card is None:
            raise WHERE_CARD.error(
                vessel=vessel.handle, expected=_nearest(name, list(serials)), found=_typed(name)
            )
        return card
    unit = named_among(vessel.units, name)
    if unit is not None:
        return unit
    names = [unit.short for unit in vessel.units]
    raise WHERE_UNIT.error(vessel=vessel.handle, expected=_nearest(name, names), found=_typed(name))


def named_among(things: Sequence[AnyNamed], name: str) -> AnyNamed | None:
    """Return the unit or position of that short name, else the only one that had it before."""
    typed = name.casefold()
    for thing in things:
        if thing.short.casefold() == typed:
            return thing
    before = [t for t in things if typed in {former.casefold() for former in t.former}]
    return before[0] if len(before) == 1 else None


def find_position(fleet: Fleet, where: str) -> Position:
    """Return the position that a complete WHERE names; raise NotFound or CallRefused."""
    parts = parse_where(where)
    if parts.holder is None or parts.position is None:
        raise WHERE_SHAPE.error(expected=_positions_at(fleet, where), found=_typed(where))
    holder = find_holder(find_vessel(fleet, parts.vessel), parts.holder)
    position = named_among(holder.positions, parts.position)
    if position is not None:
        return position
    names = [position.short for position in holder.positions]
    raise WHERE_POSITION.error(
        holder=holder.where, expected=_nearest(parts.position, names), found=_typed(parts.position)
    )


def _positions_at(fleet: Fleet, where: str) -> str:
    """Return the positions at a part of a WHERE in words, the first few of many."""
    try:
        names = [position.where for position in find_positions(fleet, where)]
    except ParambakError:
        names = []
    if not names:
        return "VESSEL/UNIT/POSITION"
    shown = " or ".join(names[:MOST_LISTED])
    return shown if len(names) <= MOST_LISTED else f"{shown}, or another of {len(names)}"


def find_positions(fleet: Fleet, where: str | None) -> tuple[Position, ...]:
    """Return every position at a WHERE or a part of it; all of them for None."""
    if where is None:
        return tuple(p for vessel in fleet.vessels for p in vessel.positions)
    parts = parse_where(where)
    vessel = find_vessel(fleet, parts.vessel)
    if parts.holder is None:
        return vessel.positions
    if parts.position is None:
        return find_holder(vessel, parts.holder).positions
    return (find_position(fleet, where),)


def find_copy(fleet: Fleet, text: str) -> tuple[Position, Copy]:
    """Return the position and the copy that a COPY names; raise NotFound or CallRefused."""
    where, _, which = text.partition("@")
    position = find_position(fleet, where)
    return position, copy_named(position, which or "latest")


def copy_named(position: Position, which: str) -> Copy:
    """Return the copy of a position that WHICH names; raise NotFound or CallRefused."""
    copies = position.copies
    typed = which.strip().lower()
    if typed in {"latest", "previous"}:
        return _counted(position, typed, copies, -1 if typed == "latest" else -2)
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", typed):
        return _on_or_before(position, typed)
    if re.fullmatch(r"[0-9]{1,7}", typed):
        return _counted(position, typed, copies, int(typed) - 1)
    if re.fullmatch(r"[0-9a-f]{8,64}", typed):
        return _by_digest(position, typed)
    expected = "latest, previous, a date, a number or a SHA-256"
    raise COPY_SHAPE.error(expected=expected, found=_typed(which))


def _counted(position: Position, which: str, copies: Sequence[Copy], at: int) -> Copy:
    if not -len(copies) <= at < len(copies) or (at < 0 and which.isdigit()):
        raise COPY_NONE.error(
            where=position.where, expected=f"one of {len(copies)} copies", found=repr(which)
        )
    return copies[at]


def _on_or_before(position: Position, which: str) -> Copy:
    try:
        day = date.fromisoformat(which)
    except ValueError as error:
        raise COPY_SHAPE.error(expected="a day of the calendar", found=which) from error
    earlier: list[tuple[Read, Copy]] = [
        (read, copy) for copy in position.copies for read in copy.reads if read.read_on <= day
    ]
    if not earlier:
        first = min((r.read_on for r in position.reads), default=None)
        expected = f"a date from {first} on" if first else NO_COPY
        raise COPY_NONE.error(where=position.where, expected=expected, found=repr(which))
    return max(earlier, key=lambda pair: pair[0].when)[1]


def _by_digest(position: Position, which: str) -> Copy:
    matches = [copy for copy in position.copies if copy.sha256.startswith(which)]
    if not matches:
        raise COPY_NONE.error(
            where=position.where,
            expected=" or ".join(copy.sha256[:8] for copy in position.copies[-3:]) or NO_COPY,
            found=repr(which),
        )
    if len({copy.sha256 for copy in matches}) > 1:
        raise COPY_TWO.error(expected="one copy", found=f"{len(matches)} copies")
    return matches[-1]


def copy_name(position: Position, copy: Copy) -> str:
    """Return the name of a copy that lasts: WHERE@ and the digest's first eight digits."""
    return f"{position.where}@{copy.sha256[:8]}"


def _nearest(name: str, names: Iterable[str]) -> str:
    """Return the nearest names on record in a few words, for the message."""
    return nearest_in_words(name, sorted(set(names))) or "none is on record yet"


def _typed(text: str) -> str:
    """Return what was typed, for the message: bounded, what moves the screen escaped."""
    return repr(text[:MOST_TYPED]) + (" …" if len(text) > MOST_TYPED else "")
