"""What changed between copies, byte by byte and field by field; or value by value."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from msgspec import UNSET, UnsetType

from parambak.answers import differences
from parambak.answers.copies import given_copies
from parambak.answers.decoded import LayoutUsed, decoded_by, layout_for, layout_named
from parambak.answers.differences import RunShown, ValuesCompared, run_shown
from parambak.answers.forms import (
    NO,
    YES,
    Answer,
    LazyList,
    Part,
    Question,
    RangeShown,
    range_shown,
)
from parambak.differences import rows
from parambak.differences.bytes import runs
from parambak.differences.fields import FADING, MOVED, RUNNING, SETTLED
from parambak.errors import CallRefused, Fault, in_file
from parambak.memory.image import Range
from parambak.memory.relations import SHIFTED

if TYPE_CHECKING:
    from collections.abc import Iterator

    from parambak.answers.copies import GivenCopy
    from parambak.answers.session import Session
    from parambak.differences.bytes import Run
    from parambak.differences.history import Step
    from parambak.differences.moves import Move
    from parambak.keeping.state.remarks import Remark
    from parambak.layouts.model import Layout

DIFF_WHAT = Fault(
    "diff-what",
    CallRefused,
    "there are not two things to compare",
    "Name two copies or dump files, or more; or one WHERE with --since DATE.",
)
DIFF_REMARK = Fault(
    "diff-remark",
    CallRefused,
    "a remark belongs to a change between two copies of one position",
    "Name two copies that differ, such as WHERE@previous and WHERE@latest.",
)


class DiffQuestion(Question["DiffAnswer | ValuesDiffAnswer"], frozen=True):
    """What is compared, oldest first: copies or files; or with `since` one WHERE.

    `layout` is a file, in place of the layout of the newest, which is the one that was attached
    when that was read. With `old_layout`, a file for the
    oldest alone, values are compared and no bytes; `renames` is a table between both. `remark`
    is put on record of the change, by the person `by`.
    """

    copies: tuple[str, ...]
    since: str | None = None
    layout: str | None = None
    old_layout: str | None = None
    renames: str | None = None
    remark: str | None = None
    by: str | None = None


class FieldChangeShown(Part, frozen=True):
    """A field or check whose stored bytes differ: values, or why there is none.

    `by` is the difference of two numbers; `crossed` the limit that lies between them.
    """

    field: str
    kind: str
    at: int
    old: str
    new: str
    unit: str | None
    change: str | None
    crossed: str | None
    within_limits: bool | None
    belongs_to_card: bool
    running: bool
    checks_renewed: tuple[str, ...]


class MoveShown(Part, frozen=True):
    """Content that was moved; `by` in bytes for a shift, up above 0; `left` is not explained."""

    kind: str
    start: int
    length: int
    by: int
    changed_bytes: int
    left: tuple[RangeShown, ...]
    how: str


class RemarkShown(Part, frozen=True):
    """A remark on record: what a person states of the change, by whom, on which day."""

    text: str
    by: str | None
    on: str


ByteRow = rows.ByteRow


class Comparison(Part, frozen=True, kw_only=True):
    """Two things compared: all runs, and what the layout and the reads before show of them.

    `ordered` is false for two dump files: nothing shows which is newer. `end` is the first address
    after both. `rows` are the changed bytes with some around, without
    what a move explains, and `more_rows` is how many changed ones are left out.
    """

    same: bool
    old: str
    new: str
    changed_bytes: int
    runs: Collection[RunShown]
    fields: Collection[FieldChangeShown]
    unmapped: tuple[RangeShown, ...]
    fading: tuple[RangeShown, ...]
    moved: tuple[MoveShown, ...]
    failing_checks: tuple[str, ...]
    remarks: tuple[RemarkShown, ...]
    remark_wanted: bool
    ordered: bool
    has_layout: bool
    end: int
    rows: tuple[ByteRow, ...]
    more_rows: int

    @property
    def reordered(self) -> bool:
        """Return whether the same bytes in another order explain every change."""
        kinds = {change.kind for change in self.fields}
        shifted = any(move.kind == SHIFTED for move in self.moved)
        return bool(self.moved) and not shifted and not self.unmapped and kinds <= {*SETTLED, MOVED}

    @property
    def asks(self) -> bool:
        """Return whether a person is to be asked about the change."""
        return bool(
            self.unmapped
            or self.moved
            or any(change.kind not in {*SETTLED, MOVED} for change in self.fields)
        )


class DiffAnswer(Answer, Comparison, frozen=True):
    """The first against the last; of three or more, `pairs` has each against the one before."""

    layout: LayoutUsed | None
    bytes_compared: bool = True
    pairs: Collection[Comparison] | UnsetType = UNSET

    @property
    def exit_code(self) -> int:
        """Return 0 where nothing differs, in any pair."""
        return YES if self.same else NO

    @property
    def comparisons(self) -> Collection[Comparison]:
        """Return each against the one before it, of two things the one comparison."""
        return (self,) if self.pairs is UNSET else self.pairs


class ValuesDiffAnswer(Answer, ValuesCompared, frozen=True):
    """What became of the values from one layout to the next; no byte was compared."""

    same: bool
    old: str
    new: str
    old_layout: LayoutUsed
    layout: LayoutUsed
    changed_bytes: None = None
    runs: tuple[RunShown, ...] = ()
    unmapped: tuple[RangeShown, ...] = ()
    bytes_compared: bool = False

    @property
    def exit_code(self) -> int:
        """Return 0 where every value is the same and none is lost."""
        return YES if self.same else NO


def answer(session: Session, question: DiffQuestion) -> DiffAnswer | ValuesDiffAnswer:
    """Compare; raise CallRefused, NotFound, LayoutRefused, DumpRefused or VaultDamaged."""
    given = given_copies(session, _named(question))
    if question.old_layout is None and question.renames is None:
        used = _layout_of(given, question.layout)
        session.note(*_other_layouts(given, question.layout))
        return _by_bytes(session, given, used, question)
    if len(given) > 2 or question.remark is not None:
        raise DIFF_WHAT.error(expected="OLD and NEW alone", found=f"{len(given)} things")
    return _by_values(given[0], given[1], question)


def _named(question: DiffQuestion) -> Sequence[str]:
    """Return what is to be compared, oldest first; raise CallRefused where it is not two."""
    copies = question.copies
    if question.since is None:
        if len(copies) < 2:
            raise DIFF_WHAT.error(expected="two or more", found=f"{len(copies)}")
        return copies
    if len(copies) != 1 or "@" in copies[0]:
        raise DIFF_WHAT.error(expected="one WHERE with --since", found=" ".join(copies)[:80])
    return (f"{copies[0]}@{question.since}", f"{copies[0]}@latest")


def _layout_of(given: Sequence[GivenCopy], path: str | None) -> tuple[Layout, LayoutUsed] | None:
    """Return the layout file named, else that of the newest of them that has one."""
    newest = next((one for one in reversed(given) if one.layout is not None), given[-1])
    return layout_named(newest, path)


def _other_layouts(given: Sequence[GivenCopy], path: str | None) -> tuple[str, ...]:
    """Return a note on each older copy that was read under another layout than the newest."""
    newest = next((one.attached for one in reversed(given) if one.attached is not None), None)
    if newest is None or path is not None:
        return ()
    return tuple(
        f"{one.name} was read when {one.attached.entry.name} was its layout. To compare values, "
        "each by its own layout, give that file with --old-layout"
        for one in given
        if one.attached is not None and one.attached.entry != newest.entry
    )


@dataclass(frozen=True)
class _Pair:
    """Two things compared: every run, and the step from one to the other."""

    old: GivenCopy
    new: GivenCopy
    runs: tuple[Run, ...]
    step: Step | None
    has_layout: bool

    @property
    def one_position(self) -> bool:
        """Return whether both are copies of one position."""
        old, new = self.old.position, self.new.position
        return old is not None and new is not None and old.ids == new.ids

    @property
    def asked(self) -> tuple[Range, ...]:
        """Return the changed stretches that a person is asked about."""
        if self.step is None:
            return ()
        changes = (c for c in self.step.fields if c.kind not in {*SETTLED, MOVED})
        fields = [Range(change.at, change.length) for change in changes]
        moves = [move.range for move in self.step.moves]
        return tuple(sorted({*fields, *moves, *(loose.range for loose in self.step.loose)}))


def _by_bytes(
    session: Session,
    given: Sequence[GivenCopy],
    by: tuple[Layout, LayoutUsed] | None,
    question: DiffQuestion,
) -> DiffAnswer:
    layout, used = by or (None, None)
    pairs = _pairs_of(given, layout)
    ends = pairs[0] if len(pairs) == 1 else _pairs_of([given[0], given[-1]], layout)[0]
    if question.remark is not None:
        _put_remark(session, ends, question.remark, question.by)
    remarks = _Remarks(session)
    members = _members(ends, remarks)
    members["same"] = not any(pair.runs for pair in pairs)
    members["runs"] = LazyList(lambda: map(run_shown, ends.runs))
    if len(pairs) > 1:
        members["pairs"] = LazyList(lambda: (_comparison(pair, remarks) for pair in pairs))
    return DiffAnswer(layout=used, **members)


def _pairs_of(given: Sequence[GivenCopy], layout: Layout | None) -> list[_Pair]:
    """Return each thing given against the one before it, sorted by what all of them show."""
    from parambak.differences.history import history  # noqa: PLC0415 - slow to import

    if layout is not None:
        from parambak.layouts.decode import require_fit  # noqa: PLC0415 - with a layout only

        for one in given:
            require_fit(layout, one.image)
    steps = {step.image: step for step in history(layout, (one.image for one in given)).steps}
    return [
        _Pair(old, new, runs(old.image, new.image), steps.get(number), layout is not None)
        for number, (old, new) in enumerate(pairwise(given), start=1)
    ]


class _Remarks:
    """The remarks on record of the changes that are compared; a vessel's are read once."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._aboard: dict[str, tuple[Remark, ...]] = {}

    def on(self, pair: _Pair) -> tuple[RemarkShown, ...]:
        """Return the remarks on the change of one position from one copy to another."""
        old, new, position = pair.old.copy, pair.new.copy, pair.new.position
        if not pair.one_position or old is None or new is None or position is None:
            return ()
        from parambak.keeping.state import select  # noqa: PLC0415 - for copies alone
        from parambak.keeping.state.remarks import (  # noqa: PLC0415 - the same
            remarks_of_change,
            remarks_on_record,
        )

        where, session = position.where, self._session
        if where not in self._aboard:
            vessel = select.vessel_at(session.fleet(), where)
            self._aboard[where] = remarks_on_record(session.vault, vessel)
        some = remarks_of_change(self._aboard[where], position, old.image, new.image)
        person = session.assessor.person
        return tuple(
            RemarkShown(one.text, None if one.by is None else person(one.by), one.on.isoformat())
            for one in some
        )


def _put_remark(session: Session, pair: _Pair, text: str, by: str | None) -> None:
    """Put a remark on record; raise CallRefused where there is no such change to remark on."""
    from parambak.keeping.recording.remarks import record_remark  # noqa: PLC0415 - where one is made

    old, new, position = pair.old.copy, pair.new.copy, pair.new.position
    if not (pair.one_position and pair.runs and old and new and position):
        found = f"{pair.old.name} and {pair.new.name}" if pair.runs else "the same bytes"
        raise DIFF_REMARK.error(expected="two copies of one position", found=found)
    spans = pair.asked or tuple(run.range for run in pair.runs)
    record_remark(session.vault, position.where, copies=(old, new), text=text, ranges=spans, by=by)


def _comparison(pair: _Pair, remarks: _Remarks) -> Comparison:
    return Comparison(runs=tuple(map(run_shown, pair.runs)), **_members(pair, remarks))


def _members(pair: _Pair, remarks: _Remarks) -> dict[str, Any]:
    """Return the members of a comparison but its runs, which may be very many."""
    on_record = remarks.on(pair)
    step = pair.step
    loose = step.loose if step is not None else ()
    moves = step.moves if step is not None else ()
    shown, more_rows = rows.rows_around(pair.old.image, pair.new.image, pair.runs, moves)
    return {
        "same": not pair.runs,
        "old": pair.old.name,
        "new": pair.new.name,
        "changed_bytes": sum(run.length for run in pair.runs),
        "fields": tuple(_field_changes(step)) if step is not None else (),
        "unmapped": tuple(range_shown(stretch.range) for stretch in loose),
        "fading": tuple(range_shown(stretch.range) for stretch in loose if stretch.kind == FADING),
        "moved": tuple(map(_move_shown, moves)),
        "failing_checks": step.broken if step is not None else (),
        "remarks": on_record,
        "ordered": pair.old.copy is not None or pair.new.copy is not None,
        "remark_wanted": pair.one_position and bool(pair.asked) and not on_record,
        "has_layout": pair.has_layout,
        "end": max(pair.old.image.end, pair.new.image.end),
        "rows": tuple(shown),
        "more_rows": more_rows,
    }


def _field_changes(step: Step) -> Iterator[FieldChangeShown]:
    for change in step.fields:
        yield FieldChangeShown(
            change.field,
            change.kind,
            change.at,
            change.old,
            change.new,
            change.unit,
            change.by,
            change.crossed,
            change.within_limits,
            change.belongs_to_card,
            change.kind == RUNNING,
            step.renewed.get(change.field, ()),
        )


def _move_shown(move: Move) -> MoveShown:
    left = tuple(map(range_shown, move.left))
    return MoveShown(move.kind, move.start, move.length, move.by, move.changed, left, move.words)


def _by_values(old: GivenCopy, new: GivenCopy, question: DiffQuestion) -> ValuesDiffAnswer:
    """Answer by values: each side by a layout of its own."""
    from parambak.differences.two_layouts import carry_over  # noqa: PLC0415 - for two layouts only

    path = question.old_layout
    named = layout_named(new, question.layout)
    if path is None or named is None:
        missing = "--old-layout" if path is None else "--layout"
        raise differences.TWO_LAYOUTS.error(expected="two layouts", found=f"no {missing}")
    table = differences.renames_of(differences.renames_file(question.renames))
    old_layout, old_used = layout_for(old, path)
    before = decoded_by(old_layout, old.image)
    after = decoded_by(named[0], new.image)
    with in_file(question.renames or path):
        carried = carry_over(before, after, table)
    return ValuesDiffAnswer(
        same=not carried.changed and not carried.not_carried,
        old=old.name,
        new=new.name,
        old_layout=old_used,
        layout=named[1],
        **differences.values_compared(before, after, carried),
    )
