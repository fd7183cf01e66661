"""What is known of vessels, units, cards, positions and copies: plain values.

`fold.py` makes them from records; nothing here reads or writes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from datetime import date, datetime

    from parambak.keeping.bodies import DumpEntry, ImageEntry, LayoutEntry, Normal, ReaderSum


class Conflict(Struct, frozen=True):
    """A fact that two records tell differently, neither knowing of the other."""

    fact: str
    values: tuple[str, ...]


class Read(Struct, frozen=True):
    """One pass of the reader.

    `order` counts the records about the ship from 0; `vessel` is the identity that this
    record is about, one of the ship's.
    """

    record: str
    vessel: str
    call: str
    order: int
    image: ImageEntry
    dumps: tuple[DumpEntry, ...]
    read_on: date
    stated: bool
    taken_in: datetime
    writer: str
    by: str | None
    reader: str | None = None
    reader_sum: ReaderSum | None = None
    untimed: bool = False
    compared: bool = False
    layout: LayoutEntry | None = None
    normal: tuple[Normal, ...] = ()
    remark: str | None = None
    visit: str | None = None
    how: str | None = None
    reseated: bool | None = None
    pair: str | None = None
    reconstructed_from: tuple[str, ...] = ()


class Copy(Struct, frozen=True):
    """An image kept for one position, and every read that gave it, oldest first.

    `number` counts the position's copies from 1, by their newest read.
    """

    number: int
    image: ImageEntry
    reads: tuple[Read, ...]

    @property
    def sha256(self) -> str:
        """Return the digest of the image object."""
        return self.image.sha256

    @property
    def reconstructed(self) -> bool:
        """Return whether no read gave this image, but a vote over reads that differ."""
        return all(read.reconstructed_from for read in self.reads)

    @property
    def newest(self) -> Read:
        """Return the read that gave this image last."""
        return self.reads[-1]


class Position(Struct, frozen=True):
    """A memory chip's place in a unit, or on a card that is in none.

    `rules` are the digest and the name of the ship's rules, where there are any.
    """

    ids: frozenset[str]
    short: str
    where: str
    chip: str | None = None
    copies: tuple[Copy, ...] = ()
    out_of_order: bool = False
    conflicts: tuple[Conflict, ...] = ()
    rules: tuple[str, str] | None = None

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)

    @property
    def latest(self) -> Copy | None:
        """Return the newest copy, or None."""
        return self.copies[-1] if self.copies else None

    @property
    def reads(self) -> tuple[Read, ...]:
        """Return all reads of the position, oldest first."""
        every = [read for copy in self.copies for read in copy.reads]
        return tuple(sorted(every, key=lambda read: (read.read_on, read.order)))

    @property
    def layout(self) -> LayoutEntry | None:
        """Return the layout named last, or None."""
        named = [read for read in self.reads if read.layout]
        return max(named, key=lambda read: read.order).layout if named else None

    @property
    def normal(self) -> tuple[tuple[Normal, Read], ...]:
        """Return what was declared normal for this memory, and the read that says so."""
        return tuple((each, read) for read in self.reads for each in read.normal)


class Unit(Struct, frozen=True):
    """One control unit aboard."""

    ids: frozenset[str]
    short: str
    where: str
    facts: dict[str, str] = {}
    positions: tuple[Position, ...] = ()
    sheet: tuple[str, str] | None = None
    conflicts: tuple[Conflict, ...] = ()

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)


class Card(Struct, frozen=True):
    """A processor card with a serial number and a whereabouts."""

    ids: frozenset[str]
    serial: str
    where: str
    facts: dict[str, str] = {}
    positions: tuple[Position, ...] = ()
    conflicts: tuple[Conflict, ...] = ()

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)


class Visit(Struct, frozen=True):
    """One attendance aboard; `closed` is None while it is open."""

    id: str
    vessel: str
    on: str
    by: str | None
    reader: str | None
    writer: str
    closed: str | None = None


class Vessel(Struct, frozen=True):
    """A ship, by every identity that counts as this one ship.

    `short` is its name as given; `handle` is what names it here without doubt. `homes`
    tells of each unit, card and position which of the identities brought it in: what is
    told of it later goes there too, so that one identity's records are whole alone.
    """

    ids: frozenset[str]
    short: str
    handle: str
    facts: dict[str, str] = {}
    former: tuple[str, ...] = ()
    units: tuple[Unit, ...] = ()
    cards: tuple[Card, ...] = ()
    visits: tuple[Visit, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    homes: dict[str, str] = {}

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)

    def home(self, identity: str) -> str:
        """Return the vessel identity whose records tell of a unit, card or position."""
        return self.homes.get(identity, self.id)

    @property
    def holders(self) -> tuple[Unit | Card, ...]:
        """Return what holds positions: units, then cards that are in none."""
        return (*self.units, *self.cards)

    @property
    def positions(self) -> tuple[Position, ...]:
        """Return all positions, those of units first."""
        return tuple(p for holder in self.holders for p in holder.positions)


class Fleet(Struct, frozen=True):
    """All vessels of a vault, by handle; `rechecked` is when a recheck last found all sound.

    `damaged` are the records that tell nothing, each by its file and why.
    """

    vessels: tuple[Vessel, ...]
    rechecked: datetime | None = None
    damaged: tuple[tuple[str, str], ...] = ()
