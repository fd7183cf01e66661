"""Every value that the fields of a position ever had, who read it and when."""

from __future__ import annotations

from array import array
from collections.abc import Collection
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from msgspec import UNSET, UnsetType

from parambak.answers import faults, given_files
from parambak.answers.forms import Answer, LazyList, Part, Question
from parambak.answers.withdrawn_shown import WithdrawnRecord, withdrawn_at
from parambak.differences.fields import MOVED, SETTLED, value_text
from parambak.differences.history import changes_of, history
from parambak.errors import CallRefused, Fault, LayoutRefused, NotFound, VaultDamaged
from parambak.keeping.state import select
from parambak.keeping.state.remarks import remarks_of_change, remarks_on_record
from parambak.keeping.verified import STABLE, evidence_of, separate_reads
from parambak.memory.names import nearest_in_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.answers.session import Session
    from parambak.differences.fields import FieldChange
    from parambak.differences.history import History
    from parambak.keeping.state.model import Copy, Position, Read
    from parambak.keeping.state.remarks import Remark
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image, Range

HISTORY_FIELD = Fault(
    "history-field",
    NotFound,
    "the layout has no field or check of that name",
    "Write the name as `parambak decode` shows it, such as channel[3].upper_limit.",
)


class HistoryQuestion(Question["HistoryAnswer"], frozen=True):
    """Which position; `field` for the values of one alone; `layout` a file, not the position's.

    With `withdrawn`, what was withdrawn there too; then the position may be gone, and a part of
    WHERE is enough.
    """

    where: str
    field: str | None = None
    layout: str | None = None
    withdrawn: bool = False


class HistoryRead(Part, frozen=True):
    """One read of a copy: its day, who read, and the digest of its record.

    `read_back`: of a card that was loaded from a copy of this position.
    """

    read_on: str
    read_by: str | None
    read_back: bool
    record: str


class HistoryCopy(Part, frozen=True):
    """The memory as it was for a time: the copy, the reads that gave it, one after the other.

    A copy that came back later stands once more. `remarks` are on what changed since the
    entry before. `separate_reads` counts those of the reads that are evidence for the copy: one
    for a file given twice, none for a read-back of a loaded card.
    """

    copy: str
    number: int
    sha256: str
    reads: tuple[HistoryRead, ...]
    remarks: tuple[str, ...]
    separate_reads: int

    @property
    def since(self) -> str:
        """Return the day on which the memory was first so."""
        return self.reads[0].read_on


class HistoryChange(Part, frozen=True):
    """A field, a check or a stretch in no field that changed, and the first read of it.

    `field` is null for a stretch; `how` is there for moved content alone. `entry` counts
    `copies` from 0.
    """

    field: str | None
    kind: str
    at: int
    length: int
    old: str | None
    new: str | None
    unit: str | None
    change: str | None
    crossed: str | None
    checks_renewed: tuple[str, ...]
    copy: str
    read_on: str
    read_by: str | None
    remarks: tuple[str, ...]
    entry: int
    how: str | UnsetType = UNSET


class UnwrittenChange(Part, frozen=True):
    """A change that wants explaining and has no remark: a field or a stretch, and the read."""

    what: str
    read_on: str


class HistoryField(Part, frozen=True):
    """The values of the field that was asked for, one for each entry of `copies`."""

    field: str
    unit: str | None
    values: tuple[str, ...]


class HistoryAnswer(Answer, frozen=True):
    """What changed at a position from read to read.

    `lost` are copies that are passed over because their bytes are lost or damaged,
    `other_layout` those of another size of memory. `unchanged_fields` counts the fields of the
    layout that never changed, null without a layout. `unstable` is where the chip reads differently
    and nobody explained it, null where it does not.
    """

    where: str
    copies: tuple[HistoryCopy, ...]
    changes: Collection[HistoryChange]
    not_written_down: Collection[UnwrittenChange]
    lost: tuple[str, ...]
    other_layout: tuple[str, ...]
    unchanged_fields: int | None
    unstable: str | None
    field: HistoryField | UnsetType = UNSET
    withdrawn: tuple[WithdrawnRecord, ...] | UnsetType = UNSET


@dataclass
class _Time:
    """One image for a time, and the reads one after the other that gave it."""

    copy: Copy
    reads: list[Read] = field(default_factory=list)


@dataclass(frozen=True)
class _Followed:
    """The history of a position: of its images those that could be had, and the remarks on them.

    `remarks` are by the number of the image that they are on the change to.
    """

    session: Session
    position: Position
    times: list[_Time]
    history: History
    lost: list[str]
    unfit: list[str]
    remarks: dict[int, tuple[Remark, ...]]

    def person(self, mark: str | None) -> str | None:
        """Return the name of a person by the mark on a record."""
        return self.session.assessor.person(mark) if mark is not None else None


def answer(session: Session, question: HistoryQuestion) -> HistoryAnswer:
    """Follow a position; raise NotFound, LayoutRefused, CallRefused or VaultDamaged."""
    if question.withdrawn:
        withdrawn = withdrawn_at(session, question.where)
        if not _is_there(session, question.where):
            return _nothing_left(question.where, withdrawn)
    position = select.find_position(session.fleet(), question.where)
    layout = (
        given_files.layout_file(question.layout).layout
        if question.layout
        else session.assessor.layout_of(position)
    )
    followed = _followed(session, position, layout)
    session.note(*session.assessor.accepted_words(position.unsettled))
    if question.field is not None:
        _require_field(followed.history, layout, question.field)
    return HistoryAnswer(
        where=position.where,
        copies=tuple(_copies(followed)),
        changes=LazyList(lambda: _changes(followed, question.field)),
        not_written_down=LazyList(lambda: _not_written_down(followed)),
        lost=tuple(dict.fromkeys(followed.lost)),
        other_layout=tuple(followed.unfit),
        unchanged_fields=_unchanged(followed.history) if layout is not None else None,
        unstable=_unstable(session, position),
        field=_field(followed, question.field),
        withdrawn=withdrawn if question.withdrawn else UNSET,
    )


def _is_there(session: Session, where: str) -> bool:
    """Return whether a WHERE names a position at which something counts."""
    try:
        select.find_position(session.fleet(), where)
    except (NotFound, CallRefused):
        return False
    return True


def _nothing_left(where: str, withdrawn: tuple[WithdrawnRecord, ...]) -> HistoryAnswer:
    return HistoryAnswer(
        where=where,
        copies=(),
        changes=(),
        not_written_down=(),
        lost=(),
        other_layout=(),
        unchanged_fields=None,
        unstable=None,
        withdrawn=withdrawn,
    )


def _unstable(session: Session, position: Position) -> str | None:
    """Return where the chip reads differently, None if it does not."""
    if position.latest is None:
        return None
    verdict = session.assessor.verdict(position, position.latest)
    return next((unmet.text for unmet in verdict.unmet if unmet.condition == STABLE), None)


def _followed(session: Session, position: Position, layout: Layout | None) -> _Followed:
    """Return the history of a position; images that are lost are named and passed over."""
    times: list[_Time] = []
    lost: list[str] = []
    unfit: dict[str, LayoutRefused] = {}

    def images() -> Iterator[Image]:
        for time in _times(position):
            try:
                image = session.assessor.image(time.copy.image)
                _require_fit(layout, image)
            except VaultDamaged:
                lost.append(select.copy_name(position, time.copy))
            except LayoutRefused as refusal:
                unfit[select.copy_name(position, time.copy)] = refusal
            else:
                times.append(time)
                yield image

    found = session.assessor.disagreements(position, layout)
    apart = {(d.before.record, d.after.record) for d in found}

    def unstable(number: int) -> bool:
        before, after = times[number - 1].reads[-1], times[number].reads[0]
        voted = before.reconstructed_from or after.reconstructed_from
        return bool(voted) or (before.record, after.record) in apart

    steps = history(layout, images(), unstable)
    for name, refusal in unfit.items() if not times else ():
        raise refusal.in_file(name)
    vessel = select.vessel_at(session.fleet(), position.where)
    aboard = remarks_on_record(session.vault, vessel)
    on_changes = {
        number: remarks_of_change(aboard, position, before.copy.image, after.copy.image)
        for number, (before, after) in enumerate(pairwise(times), start=1)
    }
    return _Followed(session, position, times, steps, lost, list(unfit), on_changes)


def _times(position: Position) -> list[_Time]:
    """Return the images in the order they were read, reads that follow and agree together."""
    copies = {read.record: copy for copy in position.copies for read in copy.reads}
    times: list[_Time] = []
    for read in position.reads:
        copy = copies[read.record]
        if not times or times[-1].copy.image != copy.image:
            times.append(_Time(copy))
        times[-1].reads.append(read)
    return times


def _require_fit(layout: Layout | None, image: Image) -> None:
    """Raise LayoutRefused where a layout is of another memory, as that of new software."""
    if layout is not None:
        from parambak.layouts.decode import require_fit  # noqa: PLC0415 - only with a layout

        require_fit(layout, image)


def _require_field(history: History, layout: Layout | None, name: str) -> None:
    if layout is None:
        raise faults.LAYOUT_NEEDED.error(expected="--layout FILE", found="no layout")
    names = [*history.first, *(check.name for check in layout.checks)]
    if name not in names:
        raise HISTORY_FIELD.error(expected=nearest_in_words(name, names), found=repr(name[:80]))


def _copies(followed: _Followed) -> Iterator[HistoryCopy]:
    for number, time in enumerate(followed.times):
        copy = time.copy
        yield HistoryCopy(
            select.copy_name(followed.position, copy),
            copy.number,
            copy.sha256,
            tuple(
                HistoryRead(
                    read.read_on.isoformat(), followed.person(read.by), read.loaded, read.record
                )
                for read in time.reads
            ),
            _remarks(followed, number),
            separate_reads(evidence_of(time.reads)),
        )


def _remarks(followed: _Followed, number: int) -> tuple[str, ...]:
    return tuple(remark.text for remark in followed.remarks.get(number, ()))


def _changes(followed: _Followed, field: str | None) -> Iterator[HistoryChange]:
    """Yield every change in order; of one field or check alone where it is named."""
    for step in followed.history.steps:
        time = followed.times[step.image]
        at = {
            "copy": select.copy_name(followed.position, time.copy),
            "read_on": time.reads[0].read_on.isoformat(),
            "read_by": followed.person(time.reads[0].by),
            "remarks": _remarks(followed, step.image),
            "entry": step.image,
        }
        for change in step.fields:
            if field in (None, change.field):
                yield _field_change(change, step.renewed.get(change.field, ()), at)
        if field is not None:
            continue
        for loose in step.loose:
            yield _stretch(loose.kind, loose.range, at)
        for move in step.moves:
            yield _stretch(MOVED, move.range, at | {"how": move.words})


def _field_change(
    change: FieldChange, renewed: tuple[str, ...], at: dict[str, Any]
) -> HistoryChange:
    return HistoryChange(
        change.field,
        change.kind,
        change.at,
        change.length,
        change.old,
        change.new,
        change.unit,
        change.by,
        change.crossed,
        renewed,
        **at,
    )


def _stretch(kind: str, stretch: Range, at: dict[str, Any]) -> HistoryChange:
    nothing = (None,) * 5
    return HistoryChange(None, kind, stretch.start, stretch.length, *nothing, (), **at)


def _not_written_down(followed: _Followed) -> Iterator[UnwrittenChange]:
    """Yield what changed, wants explaining and has no remark, all of one thing together."""
    entries: dict[str, array[int]] = {}
    for step in followed.history.steps:
        if followed.remarks.get(step.image):
            continue
        names = [c.field for c in step.fields if c.kind not in {*SETTLED, MOVED}]
        names += [loose.range.text for loose in step.loose]
        names += [move.range.text for move in step.moves]
        for name in names:
            entries.setdefault(name, array("L")).append(step.image)
    for name, numbers in entries.items():
        for number in numbers:
            yield UnwrittenChange(name, followed.times[number].reads[0].read_on.isoformat())


def _unchanged(history: History) -> int:
    changed = {
        change.field for step in history.steps for change in step.fields if change.kind != MOVED
    }
    return len(history.first.keys() - changed)


def _field(followed: _Followed, name: str | None) -> HistoryField | UnsetType:
    """Return the values of a field over all entries; nothing of a check, or where none is asked."""
    first = followed.history.first.get(name) if name is not None else None
    if first is None:
        return UNSET
    values = [value_text(first)] * len(followed.times)
    for number, change in changes_of(followed.history, first.field):
        if change.kind != MOVED:
            values[number:] = [change.new] * (len(values) - number)
    return HistoryField(first.field, first.unit, tuple(values))
