"""The body of each kind of record, as `formats/records.md` describes it.

Members at their default are left out of the record, so that a later member
with a default leaves every earlier record as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, TypeVar

import msgspec

from parambak.errors import VaultDamaged
from parambak.keeping.state.body_parts import (
    BODY,
    Body,
    Count,
    Digest,
    DumpEntry,
    Entity,
    Facts,
    FindingEntry,
    Identity,
    ImageEntry,
    LayoutEntry,
    LayoutPart,
    MovedFrom,
    Normal,
    ProfileEntry,
    ReaderSum,
    RenamesEntry,
    SizeEntry,
)
from parambak.keeping.state.read_facts import ReadFacts

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from parambak.errors import ParambakError
    from parambak.vault.records import Record, Stored

__all__ = [
    "Body",
    "DumpEntry",
    "Entity",
    "Facts",
    "FindingEntry",
    "ImageEntry",
    "LayoutEntry",
    "LayoutPart",
    "MovedFrom",
    "Normal",
    "ProfileEntry",
    "ReaderSum",
    "RenamesEntry",
    "SizeEntry",
]


_IDENTITY = 32  # digits


class ReadBody(Body, ReadFacts, frozen=True):
    """kind "read": one pass of the reader.

    `call` is common to the reads of one `archive`. A read with `reconstructed_from` was never
    made: it is the result of a vote over the reads of those records. With `moved_from`, it was on
    record for another vessel before.
    """

    kind: ClassVar[str] = "read"

    call: Identity
    position: Identity
    image: ImageEntry
    dumps: tuple[DumpEntry, ...]
    new: tuple[Entity, ...] = ()
    read_on: str | None = None
    read_at: str | None = None
    layout: LayoutEntry | None = None
    reader_sum: ReaderSum | None = None
    normal: tuple[Normal, ...] = ()
    position_confirmed: bool = False
    remark: str | None = None
    visit: Identity | None = None
    profile: ProfileEntry | None = None
    size: SizeEntry | None = None
    reconstructed_from: tuple[Digest, ...] = ()
    moved_from: MovedFrom | None = None


class EnteredBody(Body, frozen=True):
    """kind "entered": entities without a read, such as a spare card."""

    kind: ClassVar[str] = "entered"

    new: tuple[Entity, ...]


class CorrectBody(Body, frozen=True):
    """kind "correct": corrected facts of an entity or a read, and why.

    `what` is "vessel", "unit", "card", "position" or "read"; `id` its
    identity, for a read the digest of its record. `new` are entities that a moved read needs.
    """

    kind: ClassVar[str] = "correct"
    about_records: ClassVar[bool] = True

    what: str
    id: str
    facts: Facts
    why: str | None = None
    new: tuple[Entity, ...] = ()


class WithdrawnBody(Body, frozen=True):
    """kind "withdrawn": records that no longer count, and why.

    `records` are their digests, `what` their content in words. With `moved_to`, the one record
    is a read that is at another vessel now, as this record. With `undo`, they were taken back by
    `undo`, and are all that is left of one command.
    """

    kind: ClassVar[str] = "withdrawn"
    about_records: ClassVar[bool] = True

    records: Annotated[tuple[Digest, ...], msgspec.Meta(min_length=1)]
    what: str
    why: str | None = None
    moved_to: Digest | None = None
    undo: bool = False


class LayoutAttachedBody(Body, frozen=True):
    """kind "layout-attached": the layout of a position from here on, without a read."""

    kind: ClassVar[str] = "layout-attached"

    position: Identity
    layout: LayoutEntry


class VisitOpenedBody(Body, frozen=True):
    """kind "visit-opened": an attendance aboard begins, `on` a day, `at` an hour if stated."""

    kind: ClassVar[str] = "visit-opened"

    visit: Identity
    on: str
    at: str | None = None
    new: tuple[Entity, ...] = ()
    reader: str | None = None


class VisitClosedBody(Body, frozen=True):
    """kind "visit-closed": an attendance aboard ends; without `on` on the clock's day."""

    kind: ClassVar[str] = "visit-closed"

    visit: Identity
    on: str | None = None
    at: str | None = None
    remark: str | None = None


class CardSheetBody(Body, frozen=True):
    """kind "card-sheet": what the card of a unit must carry."""

    kind: ClassVar[str] = "card-sheet"

    unit: Identity
    sheet: Digest
    name: str


class SheetOfCardBody(Body, frozen=True):
    """kind "sheet-of-card": what one card carries, a spare or one that is fitted."""

    kind: ClassVar[str] = "sheet-of-card"

    card: Identity
    sheet: Digest
    name: str


class CardsCrossedOverBody(Body, frozen=True):
    """kind "cards-crossed-over": the cards of two like units change places to find a fault.

    `units` are two identities; with `cards`, those of the cards that each had, in the same
    order. With `back`, they were put back.
    """

    kind: ClassVar[str] = "cards-crossed-over"

    units: tuple[Identity, Identity]
    why: str
    cards: tuple[Identity, Identity] | None = None
    back: bool = False


class ConditionEntry(Body, frozen=True):
    """A condition of a swap as it was: `met` is None if it was not known.

    With `accepted`, a person had accepted it unmet.
    """

    condition: str
    text: str
    met: bool | None = None
    required: bool = False
    accepted: bool = False

    @property
    def missing(self) -> bool:
        """Return whether it was required, and neither met nor accepted."""
        return self.required and not self.met and not self.accepted


class LoadFileBody(Body, frozen=True):
    """kind "load-file": a file released for loading into a new card.

    Of a pair, `file_sha256` is the first chip's and `second_sha256` the other's. With
    `unverified`, its copy was not verified and a person accepted that. `conditions` are those of
    the swap at that moment.
    """

    kind: ClassVar[str] = "load-file"

    position: Identity
    image: ImageEntry
    format: str
    file_sha256: Digest
    sum16: str
    second_sha256: Digest | None = None
    swap: Identity | None = None
    unverified: bool = False
    conditions: tuple[ConditionEntry, ...] = ()


class ReadBackBody(Body, frozen=True):
    """kind "read-back": a dump of a loaded card, compared with the selected copy.

    With `by_values`, values were compared and no bytes: those read by `layout`, those of the
    selected copy by `old_layout`; `renames` is the table between the two. `call` is common to the
    dumps of one command.
    """

    kind: ClassVar[str] = "read-back"

    position: Identity
    selected: ImageEntry
    image: ImageEntry
    dumps: tuple[DumpEntry, ...]
    stage: str
    loaded_correctly: bool
    differing_bytes: int
    running_bytes: int = 0
    by_values: bool = False
    differing_values: int = 0
    running_values: int = 0
    swap: Identity | None = None
    call: Identity | None = None
    old_layout: LayoutEntry | None = None
    layout: LayoutEntry | None = None
    renames: RenamesEntry | None = None


class LimitsEntry(Body, frozen=True):
    """A file of limits as given: its object and its file name."""

    sha256: Digest
    name: str


class ReadingEntry(Body, frozen=True):
    """One measurement, with its limits; without `value` it was not possible.

    `typed` is the text typed, if `value` (in `unit`) is another text; `frequency` the hertz from
    which a speed was calculated, with the `teeth` of the wheel.
    """

    name: str
    unit: str = ""
    value: str | None = None
    typed: str | None = None
    low: str | None = None
    high: str | None = None
    frequency: str | None = None
    teeth: int | None = None
    supply: bool = False
    not_possible: str | None = None


class MeasuredBody(Body, frozen=True):
    """kind "measured": readings taken at a unit or position."""

    kind: ClassVar[str] = "measured"

    about: Identity
    stage: str
    readings: tuple[ReadingEntry, ...]
    on: str | None = None
    limits: LimitsEntry | None = None
    instrument: str | None = None
    calibrated: str | None = None
    visit: Identity | None = None
    remark: str | None = None


class ShipsRulesBody(Body, frozen=True):
    """kind "ships-rules": what the vessel's owner requires before a swap."""

    kind: ClassVar[str] = "ships-rules"

    rules: Digest
    name: str


class SwapOpenedBody(Body, frozen=True):
    """kind "swap-opened": the replacement of a card begins.

    `route` is "load" (the new card's memory is loaded) or "move-chip" (the old chip goes
    onto the new card). `new` holds a card that comes in with it; `conditions` are those at that
    moment.
    """

    kind: ClassVar[str] = "swap-opened"

    swap: Identity
    position: Identity
    route: str
    why: str
    new: tuple[Entity, ...] = ()
    old_card: Identity | None = None
    new_card: Identity | None = None
    conditions: tuple[ConditionEntry, ...] = ()


class SwapSheetBody(Body, frozen=True):
    """kind "swap-sheet": the sheet of the card that goes in, as it was given in the swap."""

    kind: ClassVar[str] = "swap-sheet"

    swap: Identity
    sheet: Digest
    name: str


class SwapAnswerBody(Body, frozen=True):
    """kind "swap-answer": a person's answer on one condition; the last one counts.

    `answer` is "yes", "no", "not-known" or "not-needed".
    """

    kind: ClassVar[str] = "swap-answer"

    swap: Identity
    condition: str
    answer: str
    text: str


class SwapCopySelectedBody(Body, frozen=True):
    """kind "swap-copy-selected": the copy selected, if not the newest; the last one counts."""

    kind: ClassVar[str] = "swap-copy-selected"

    swap: Identity
    image: ImageEntry
    why: str


class SwapDeviationBody(Body, frozen=True):
    """kind "swap-deviation": a condition not met is accepted; `text` is its evidence then."""

    kind: ClassVar[str] = "swap-deviation"

    swap: Identity
    condition: str
    text: str
    reason: str


class FunctionTest(Body, frozen=True):
    """One test of the unit's function: `result` is "passed" or "failed"."""

    name: str
    result: str
    text: str | None = None


class SwapTestedBody(Body, frozen=True):
    """kind "swap-tested": function tests while the swap stays open."""

    kind: ClassVar[str] = "swap-tested"

    swap: Identity
    tests: tuple[FunctionTest, ...]


class SwapClosedBody(Body, frozen=True):
    """kind "swap-closed": `outcome` is "closed", "emergency" or "abandoned".

    `taken_in` are the records of the read-backs that become reads of the position;
    `old_card_to` is where the old card goes; `conditions` are those at that moment. After
    "emergency" the swap goes on until what is missing is done.
    """

    kind: ClassVar[str] = "swap-closed"

    swap: Identity
    outcome: str
    reason: str | None = None
    tests: tuple[FunctionTest, ...] = ()
    taken_in: tuple[Digest, ...] = ()
    old_card_to: str | None = None
    conditions: tuple[ConditionEntry, ...] = ()


class LossAcceptedBody(Body, frozen=True):
    """kind "loss-accepted": for some positions, a person goes on without these lost files."""

    kind: ClassVar[str] = "loss-accepted"

    positions: tuple[Identity, ...]
    reason: str
    records: tuple[Digest, ...] = ()
    objects: tuple[Digest, ...] = ()


class LeftOutBody(Body, frozen=True):
    """kind "left-out": records of a source that did not come in; `unread` counts other files."""

    kind: ClassVar[str] = "left-out"

    source: str
    records: tuple[Digest, ...] = ()
    unread: Count = 0


class OnPurposeBody(Body, frozen=True):
    """kind "on-purpose": a field of a position differs from the same units on purpose.

    With `withdrawn`, it no longer does.
    """

    kind: ClassVar[str] = "on-purpose"

    position: Identity
    field: str
    reason: str
    withdrawn: bool = False


class RemarkedBody(Body, frozen=True):
    """kind "remarked": a person's remark on the change from one image of a position to another.

    `ranges` are the changed stretches of the remark: address and length. `reads` are the records of
    all reads of the two images that were on record: a later read is not explained by it.
    """

    kind: ClassVar[str] = "remarked"

    position: Identity
    image_old: ImageEntry
    image_new: ImageEntry
    text: str
    ranges: tuple[tuple[int, int], ...] = ()
    visit: Identity | None = None
    reads: tuple[Digest, ...] = ()


class RecheckBody(Body, frozen=True):
    """kind "recheck": every object and record in one folder was hashed again.

    `folder` is the folder's mark, without which it counts for none; `since` (UTC) is the begin.
    """

    kind: ClassVar[str] = "recheck"

    objects: int
    records: int
    damaged: int
    folder: Digest | None = None
    since: str | None = None


class BackupLocationBody(Body, frozen=True):
    """kind "backup-location": a second copy of the vault; the last record of each counts.

    Without `vessels`, which are identities, it is for all; with `packed`, it holds packs; with
    `removed`, it is no longer used.
    """

    kind: ClassVar[str] = "backup-location"

    location: Identity
    name: str
    address: str
    vessels: tuple[Identity, ...] | None = None
    packed: bool = False
    removed: bool = False


class HeldBody(Body, frozen=True):
    """kind "held": what a backup location held of the vessel.

    It holds the `heads` and all that they are after, except the `incomplete`. Unless `hashed`,
    only sizes were checked.
    """

    kind: ClassVar[str] = "held"
    about_records: ClassVar[bool] = True

    location: Identity
    name: str
    heads: tuple[Digest, ...]
    records: Count
    objects: Count
    hashed: bool
    incomplete: tuple[Digest, ...] = ()


def kinds() -> dict[str, type[Body]]:
    """Return the body of each kind of record, by the kind: every body that has one."""
    return {body.kind: body for body in Body.__subclasses__() if body.kind}


KINDS = kinds()

AnyBody = TypeVar("AnyBody", bound=Body)


def body_of(record: Record, digest: str, kind: type[AnyBody]) -> AnyBody:
    """Return the record's body as its kind; raise VaultDamaged if it has another shape."""
    try:
        return msgspec.convert(record.body, kind)
    except (msgspec.ValidationError, ValueError) as error:
        raise misshapen(digest, f"the members of kind {record.kind}", str(error)) from error


def sound(stored: Stored, kind: type[AnyBody]) -> AnyBody | None:
    """Return a record's body as its kind; None if it has another shape, which recheck names."""
    try:
        return body_of(stored.record, stored.digest, kind)
    except VaultDamaged:
        return None


def of_kind(records: Iterable[Stored], kind: type[AnyBody]) -> Iterator[tuple[Stored, AnyBody]]:
    """Yield the records of one kind, each with its body; those of another shape are left out."""
    for stored in records:
        body = sound(stored, kind) if stored.record.kind == kind.kind else None
        if body is not None:
            yield stored, body


def identities_in(value: object) -> set[str]:
    """Return every text in a body, or in a part of one, that has the length of an identity."""
    if isinstance(value, str):
        return {value} if len(value) == _IDENTITY else set()
    inside: Iterable[object] = ()
    if isinstance(value, dict | list):
        inside = value.values() if isinstance(value, dict) else value
    return set().union(*map(identities_in, inside))


def names_one_of(stored: Stored, identities: frozenset[str]) -> bool:
    """Return whether a record's body names one of these identities."""
    return not identities.isdisjoint(identities_in(stored.record.body))


def new_entities(body: Body) -> tuple[Entity, ...]:
    """Return the entities that a record brings in, under the member `new` of any kind."""
    entities: tuple[Entity, ...] = getattr(body, "new", ())
    return entities


def misshapen(record: str, expected: str, found: str) -> ParambakError:
    """Return the error for a record, named by its digest, with a body of the wrong shape."""
    file = f"records/{record[:2]}/{record}.json"
    return BODY.error(file=file, expected=expected, found=found[:200])
