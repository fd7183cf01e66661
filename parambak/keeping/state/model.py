"""Vessels, units, cards, positions, copies and reads: plain values.

`fold.py` makes them from records. Nothing here reads files; a `Loader` does.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, NamedTuple, Self

from msgspec import Struct

from parambak.keeping.state.unsettled import Unsettled
from parambak.reads.pairs import chips_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from parambak.keeping.state.bodies import (
        DumpEntry,
        ImageEntry,
        LayoutEntry,
        Normal,
        ReaderSum,
        SizeEntry,
    )
    from parambak.keeping.state.read_facts import ReadFacts
    from parambak.keeping.state.unsettled import Conflict


class Condition(NamedTuple):
    """One condition: met (True), not met (False) or not known (None), and why."""

    condition: str
    met: bool | None
    text: str

    @classmethod
    def yes(cls, condition: str, text: str) -> Self:
        """Return the condition met."""
        return cls(condition, met=True, text=text)

    @classmethod
    def no(cls, condition: str, text: str) -> Self:
        """Return the condition not met."""
        return cls(condition, met=False, text=text)

    @classmethod
    def unknown(cls, condition: str, text: str) -> Self:
        """Return the condition not known."""
        return cls(condition, met=None, text=text)


class Read(Struct, frozen=True, gc=False):
    """One pass of the reader.

    `order` counts the records about the ship from 0; `vessel` is the identity that this record
    is about, one of the ship's. `stated`: the record gives the day. `facts` are how the read was
    made. `chip` counts the chips that were at the position, from 0. `loaded`: the chip was loaded
    from a copy of this position, so that the read is no evidence for the copy. `place` counts the
    reads of its day by their hours, if each has one; else it is 0.
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
    facts: ReadFacts
    reader_sum: ReaderSum | None = None
    layout: LayoutEntry | None = None
    normal: tuple[Normal, ...] = ()
    size: SizeEntry | None = None
    remark: str | None = None
    visit: str | None = None
    read_at: str | None = None
    reconstructed_from: tuple[str, ...] = ()
    chip: int = 0
    loaded: bool = False
    place: int = 0

    @property
    def when(self) -> tuple[date, int, int]:
        """Return what orders the reads of a position in time."""
        return self.read_on, self.place, self.order

    @property
    def untimed(self) -> bool:
        """Return whether equal file times do not mean one read."""
        return self.facts.untimed


class Explanation(NamedTuple):
    """A person's remark on two images of a position that differ, and the reads that it names.

    `by` is the mark of the person's name.
    """

    reads: frozenset[str]
    by: str
    text: str


class AttachedLayout(Struct, frozen=True, gc=False):
    """A layout attached to a position: by a read or by a record of its own.

    `order` is that of the record, `at` the laptop's clock then.
    """

    entry: LayoutEntry
    record: str
    order: int
    at: datetime


class Copy(Struct, frozen=True, gc=False):
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


class Position(Struct, frozen=True, gc=False):
    """A position: where a memory chip sits in a unit, or on a card that is in no unit.

    `chip` is the part; `size` is that of one chip in bytes, by a person's word. `rules` are the
    digest and the name of the ship's rules, if there are any. `written` counts, by the order of
    the records, when a file was released for loading here; `explanations` are the remarks with a
    name on images that differ. `attached` are the layouts that came without a read;
    `unsettled` is what is lost or in conflict about the vessel, as it concerns this position.
    """

    ids: frozenset[str]
    short: str
    where: str
    chip: str | None = None
    size: int | None = None
    copies: tuple[Copy, ...] = ()
    out_of_order: bool = False
    conflicts: tuple[Conflict, ...] = ()
    former: tuple[str, ...] = ()
    rules: tuple[str, str] | None = None
    unsettled: Unsettled = Unsettled()
    written: tuple[int, ...] = ()
    explanations: tuple[Explanation, ...] = ()
    attached: tuple[AttachedLayout, ...] = ()

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)

    @property
    def chips(self) -> int:
        """Return how many chips share the memory: two once a pair was read that shares it."""
        return max((chips_of(read.facts.pair) for read in self.reads), default=1)

    @property
    def latest(self) -> Copy | None:
        """Return the newest copy, or None."""
        return self.copies[-1] if self.copies else None

    @property
    def reads(self) -> tuple[Read, ...]:
        """Return all reads of the position, oldest first."""
        reads = [read for copy in self.copies for read in copy.reads]
        return tuple(sorted(reads, key=lambda read: read.when))

    @property
    def layout(self) -> LayoutEntry | None:
        """Return the layout attached last, or None."""
        return self.layouts[-1].entry if self.layouts else None

    @property
    def layouts(self) -> tuple[AttachedLayout, ...]:
        """Return every layout attached, by a read or alone, in the order of the records."""
        by_reads = [
            AttachedLayout(read.layout, read.record, read.order, read.taken_in)
            for copy in self.copies
            for read in copy.reads
            if read.layout
        ]
        return tuple(sorted((*self.attached, *by_reads), key=lambda layout: layout.order))

    def layout_of(self, copy: Copy) -> AttachedLayout | None:
        """Return the layout of a copy: of the latest copy the one attached last.

        Of an older copy it is the one attached when that was last read; if none was attached
        then, the first one that came later.
        """
        layouts = self.layouts
        if copy is self.latest:
            return layouts[-1] if layouts else None
        earlier = [layout for layout in layouts if layout.order <= copy.newest.order]
        return earlier[-1] if earlier else next(iter(layouts), None)

    @property
    def normal(self) -> tuple[tuple[Normal, Read], ...]:
        """Return what was declared normal for this memory, and the read with the declaration."""
        return tuple((normal, read) for read in self.reads for normal in read.normal)


class Unit(Struct, frozen=True):
    """One control unit aboard; `former` are the short names that it had."""

    ids: frozenset[str]
    short: str
    where: str
    facts: dict[str, str] = {}
    positions: tuple[Position, ...] = ()
    sheet: tuple[str, str] | None = None
    conflicts: tuple[Conflict, ...] = ()
    former: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)


class Card(Struct, frozen=True):
    """A processor card with its serial number.

    `sheet` are the digest and the name of its card sheet, if there is one.
    """

    ids: frozenset[str]
    serial: str
    where: str
    facts: dict[str, str] = {}
    positions: tuple[Position, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    sheet: tuple[str, str] | None = None

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)


class Visit(Struct, frozen=True, gc=False):
    """One attendance aboard, from a day to a day; `closed` is None while it is open.

    `at` and `closed_at` are the hours, such as 08:30, None if they are not recorded. `begun` and
    `ended` are the same as moments: without an hour the begin of the first day, and the end of the
    last. `afterwards`: it was entered on a later day than its first. `remark` is of its end.
    """

    id: str
    vessel: str
    on: str
    by: str | None
    reader: str | None
    writer: str
    begun: datetime
    at: str | None = None
    afterwards: bool = False
    closed: str | None = None
    closed_at: str | None = None
    ended: datetime | None = None
    remark: str | None = None

    def day(self, today: date) -> date:
        """Return the day of what is put on record in it now.

        That is its first day if it was entered afterwards, else today.
        """
        return date.fromisoformat(self.on) if self.afterwards else today


class Aboard(Struct, frozen=True):
    """What is aboard a vessel, by its own records.

    - `homes` gives for each unit, card and position the identity of the vessel that brought it
      in. Later records go there too, so that one identity's records are complete alone.
    - `damaged` are the records that cannot be used, each by its file and why; `missing` the files
      of missing records that other records are after.
    - `unsettled` is what is lost or in conflict about the vessel itself.
    """

    units: tuple[Unit, ...] = ()
    cards: tuple[Card, ...] = ()
    homes: dict[str, str] = {}
    damaged: tuple[tuple[str, str], ...] = ()
    missing: tuple[str, ...] = ()
    unsettled: Unsettled = Unsettled()


class Loader(NamedTuple):
    """Reads what is aboard a vessel, and its visits, when first asked for."""

    aboard: Callable[[], Aboard]
    visits: Callable[[], tuple[Visit, ...]]


class Vessel:
    """A ship, by all identities that count as this one ship.

    `short` is its name as given, `named` whether a record gives it; `handle` is its unique name
    in this vault. What is aboard is read when first asked for, and kept.
    """

    def __init__(  # noqa: PLR0913 - how a vessel is named, by keyword
        self,
        ids: frozenset[str],
        short: str,
        handle: str,
        *,
        facts: dict[str, str] | None = None,
        former: tuple[str, ...] = (),
        conflicts: tuple[Conflict, ...] = (),
        loader: Loader,
    ) -> None:
        self.ids = ids
        self.short = short
        self.handle = handle
        self.facts = {} if facts is None else facts
        self.former = former
        self.conflicts = conflicts
        self._loader = loader
        self._aboard: Aboard | None = None
        self._visits: tuple[Visit, ...] | None = None

    @property
    def id(self) -> str:
        """Return one identity, the same at each call."""
        return min(self.ids)

    @property
    def named(self) -> bool:
        """Return whether some record gives the vessel's name."""
        return "short" in self.facts

    @property
    def aboard(self) -> Aboard:
        """Return what is aboard, read from the vessel's records the first time."""
        if self._aboard is None:
            self._aboard = self._loader.aboard()
        return self._aboard

    def forget(self) -> None:
        """Release what is aboard; it is read again when next asked for."""
        self._aboard = None

    @property
    def units(self) -> tuple[Unit, ...]:
        """Return the control units, by name."""
        return self.aboard.units

    @property
    def cards(self) -> tuple[Card, ...]:
        """Return the cards that are in no unit, by serial number."""
        return self.aboard.cards

    @property
    def visits(self) -> tuple[Visit, ...]:
        """Return the visits to it, in the order of the clocks."""
        if self._visits is None:
            self._visits = self._loader.visits()
        return self._visits

    def home(self, identity: str) -> str:
        """Return the vessel identity whose records have a unit, card or position."""
        return self.aboard.homes.get(identity, self.id)

    def homes(self, identities: Iterable[str]) -> tuple[tuple[str, str], ...]:
        """Return pairs, sorted: the vessel identity with the records, and the identity."""
        return tuple((self.home(identity), identity) for identity in sorted(identities))

    @property
    def holders(self) -> tuple[Unit | Card, ...]:
        """Return what holds positions: units, then cards that are in none."""
        return (*self.units, *self.cards)

    @property
    def positions(self) -> tuple[Position, ...]:
        """Return all positions, those of units first."""
        return tuple(p for holder in self.holders for p in holder.positions)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Vessel) and self._values() == other._values()

    def __hash__(self) -> int:
        return hash(self.ids)

    def _values(self) -> tuple[object, ...]:
        names = (self.ids, self.short, self.handle, self.facts, self.former, self.conflicts)
        return (*names, self.aboard, self.visits)


class Fleet:
    """All vessels of a vault, by handle; `rechecked` is the last recheck without damage."""

    def __init__(
        self,
        vessels: tuple[Vessel, ...],
        rechecked: Callable[[], datetime | None] | None = None,
    ) -> None:
        self.vessels = vessels
        self._rechecked = rechecked

    @property
    def rechecked(self) -> datetime | None:
        """Return when a recheck last found no damage, or None."""
        return self._rechecked() if self._rechecked is not None else None

    @property
    def damaged(self) -> tuple[tuple[str, str], ...]:
        """Return the records of all vessels that cannot be used, each by its file and why.

        Every vessel's records are read for it, and released.
        """
        damaged: list[tuple[str, str]] = []
        for vessel in self.vessels:
            damaged += vessel.aboard.damaged
            vessel.forget()
        return tuple(damaged)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Fleet):
            return False
        return self.vessels == other.vessels and self.rechecked == other.rechecked

    def __hash__(self) -> int:
        return hash(self.vessels)
