"""What `diff` finds between each two of several images, and its page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from parambak.cli.parts import compare_faults, side_by_side
from parambak.compare.bytes import runs
from parambak.compare.fields import (
    CHECK,
    EXPECTED,
    FADING,
    FLIPS,
    MOVED,
    PARAMETER,
    SETTLED,
    TOLERANCE,
)
from parambak.compare.history import history
from parambak.keeping.recording.remarks import record_remark
from parambak.keeping.state import select
from parambak.keeping.state.fold import fleet
from parambak.keeping.state.remarks import remarks_of_change, remarks_on_record
from parambak.memory.counted import counted
from parambak.memory.image import Range

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.cli.screen import Screen
    from parambak.cli.store import Given
    from parambak.compare.bytes import Run
    from parambak.compare.fields import FieldChange
    from parambak.compare.history import Loose, Step
    from parambak.compare.moves import Move
    from parambak.keeping.state.remarks import Remark
    from parambak.layouts.model import Layout

LISTED = 40
ORDER = (PARAMETER, FADING, FLIPS, MOVED, CHECK, TOLERANCE, EXPECTED)
"""The sorts as the page lists them: what asks for an answer first."""

ONE_IMAGE = "the same bytes"


@dataclass(frozen=True)
class Pair:
    """Two things compared: every run, and what the layout and the reads before tell of them."""

    old: Given
    new: Given
    runs: tuple[Run, ...]
    step: Step | None
    has_layout: bool
    remarks: tuple[Remark, ...] = ()

    @property
    def fields(self) -> tuple[FieldChange, ...]:
        """Return the changes of fields and checks, in address order."""
        return self.step.fields if self.step is not None else ()

    @property
    def loose(self) -> tuple[Loose, ...]:
        """Return the changed stretches in no field, moved content left out."""
        return self.step.loose if self.step is not None else ()

    @property
    def moved(self) -> tuple[Move, ...]:
        """Return the stretches whose content was moved."""
        return self.step.moves if self.step is not None else ()

    @property
    def broken(self) -> tuple[str, ...]:
        """Return the checks that held before and hold no more."""
        return self.step.broken if self.step is not None else ()

    @property
    def one_position(self) -> bool:
        """Return whether both are copies of one position."""
        old, new = self.old.position, self.new.position
        return old is not None and new is not None and old.ids == new.ids

    @property
    def asked(self) -> tuple[Range, ...]:
        """Return the changed stretches that a person is asked about."""
        fields = [Range(c.at, c.length) for c in self.fields if c.kind not in {*SETTLED, MOVED}]
        spans = [Range(each.start, each.length) for each in self.moved]
        return tuple(sorted({*fields, *spans, *(each.range for each in self.loose)}))

    @property
    def remark_wanted(self) -> bool:
        """Return whether a change is unexplained, and no remark on it is on record."""
        return self.one_position and bool(self.asked) and not self.remarks

    def renewed(self, field: str) -> tuple[str, ...]:
        """Return the checks that were renewed with the change of a field."""
        return self.step.renewed.get(field, ()) if self.step is not None else ()

    def person(self, mark: str | None) -> str | None:
        """Return the name of a person by the mark that a remark bears."""
        assessor = self.new.assessor
        return None if mark is None or assessor is None else assessor.person(mark)


def pairs_of(given: Sequence[Given], layout: Layout | None) -> list[Pair]:
    """Return each thing given against the one before it, sorted by what all of them tell."""
    if layout is not None:
        from parambak.layouts.decode import require_fit  # noqa: PLC0415 - with a layout only

        for each in given:
            require_fit(layout, each.image)
    found = history(layout, (each.image for each in given))
    steps = {step.image: step for step in found.steps}
    return [
        Pair(old, new, runs(old.image, new.image), steps.get(number), layout is not None)
        for number, (old, new) in enumerate(pairwise(given), start=1)
    ]


def with_remarks(pairs: Sequence[Pair]) -> list[Pair]:
    """Return the pairs with the remarks on record of their changes; a vessel is read once."""
    on_record: dict[str, tuple[Remark, ...]] = {}
    return [_with_remarks(pair, on_record) for pair in pairs]


def _with_remarks(pair: Pair, on_record: dict[str, tuple[Remark, ...]]) -> Pair:
    old, new, assessor = pair.old.copy, pair.new.copy, pair.new.assessor
    position = pair.new.position
    if not pair.one_position or not (old and new and assessor and position):
        return pair
    if position.where not in on_record:
        vessel = select.vessel_at(fleet(assessor.vault), position.where)
        on_record[position.where] = remarks_on_record(assessor.vault, vessel)
    every = on_record[position.where]
    return replace(pair, remarks=remarks_of_change(every, position, old.image, new.image))


def put_remark(pair: Pair, text: str, by: str | None) -> None:
    """Put a remark on record; raise CallRefused where there is no such change to remark on."""
    old, new, assessor = pair.old.copy, pair.new.copy, pair.new.assessor
    position = pair.new.position
    if not (pair.one_position and pair.runs and old and new and assessor and position):
        found = ONE_IMAGE if not pair.runs else f"{pair.old.name} and {pair.new.name}"
        raise compare_faults.DIFF_REMARK.error(expected="two copies of one position", found=found)
    spans = pair.asked or tuple(run.range for run in pair.runs)
    where = position.where
    record_remark(assessor.vault, where, copies=(old, new), text=text, ranges=spans, by=by)


def page(screen: Screen, pairs: Sequence[Pair]) -> None:
    """Print each pair in turn."""
    for number, pair in enumerate(pairs, start=1):
        if len(pairs) > 1:
            screen.heading(f"{number} of {len(pairs)}")
        _one(screen, pair)
        if number < len(pairs):
            screen.say()


def _one(screen: Screen, pair: Pair) -> None:
    screen.facts([("old", pair.old.name), ("new", pair.new.name)], indent=0)
    screen.say()
    if not pair.runs:
        screen.good("The same: no byte differs.")
        return
    for each in pair.moved:
        rest = sum(one.length for one in each.left)
        beside = f", {counted(rest, 'byte')} beside that" if rest else ""
        screen.say(
            f"MOVED {span(Range(each.start, each.length))}: {each.words}; that accounts for "
            f"{counted(each.changed, 'changed byte')}{beside}."
        )
    made, left_out = side_by_side.lines(pair.old.image, pair.new.image, pair.runs, pair.moved)
    if len(made) > 1:
        screen.lines(made)
    if left_out:
        screen.say(f"and {counted(left_out, 'more changed line')}; --json gives every byte.")
    screen.say()
    _fields(screen, pair)
    _loose(screen, pair)
    for check in pair.broken:
        screen.say(f"CHECK {check} held before, and FAILS now.", indent=2)
    for remark in pair.remarks:
        screen.say(f"Remark by {pair.person(remark.by)} on {remark.on}: {remark.text}", indent=2)
    _verdict(screen, pair)


def _fields(screen: Screen, pair: Pair) -> None:
    """Print the changes of fields: what asks for an answer first, of a move only how many."""
    told = sorted(
        (change for change in pair.fields if change.kind != MOVED),
        key=lambda change: ORDER.index(change.kind),
    )
    if told:
        screen.table(
            ("address", "field", "old", "new", "by", "sort"),
            [change_row(change) for change in told[:LISTED]],
        )
        if len(told) > LISTED:
            screen.say(f"and {len(told) - LISTED} more; --json gives them all.")
        screen.say()


def change_row(change: FieldChange) -> tuple[str, ...]:
    """Return the change of a field as a row of the page."""
    unit = f" {change.unit}" if change.unit else ""
    kind = change.kind
    if change.crossed is not None:
        inside = change.crossed.startswith("back")
        kind += f", {change.crossed if inside else change.crossed.upper()}"
    elif change.within_limits is False:
        kind += ", FAILS"
    if change.belongs_to_card:
        kind += ", of the card"
    by = change.by or ""
    return (f"0x{change.at:04X}", change.field, change.old + unit, change.new + unit, by, kind)


def _loose(screen: Screen, pair: Pair) -> None:
    for each in pair.loose[:LISTED]:
        why = "no field explains it" if pair.has_layout else "no layout"
        if each.kind == FADING:
            screen.say(f"FADING at {span(each.range)}: in no field", indent=2)
        else:
            screen.say(f"UNEXPLAINED at {span(each.range)}: {why}", indent=2)
    if len(pair.loose) > LISTED:
        screen.say(f"and {len(pair.loose) - LISTED} more stretches; --json gives them all.")


def span(each: Range) -> str:
    """Return a stretch as its first and last address."""
    if each.length == 1:
        return f"0x{each.start:04X}"
    return f"0x{each.start:04X}-0x{each.end - 1:04X}"


def _verdict(screen: Screen, pair: Pair) -> None:
    parameters = sum(1 for change in pair.fields if change.kind in {PARAMETER, FADING, FLIPS})
    settled = sum(1 for change in pair.fields if change.kind in SETTLED)
    loose = sum(each.range.length for each in pair.loose)
    changed = sum(run.length for run in pair.runs)
    answer = (
        f"Different in {counted(changed, 'byte')}: {counted(parameters, 'parameter')} changed, "
        f"{settled} as expected, {counted(loose, 'byte')} unexplained."
    )
    if any(c.kind == FADING for c in pair.fields) or any(e.kind == FADING for e in pair.loose):
        answer += " CELLS FADE: bits went one way and no check knows of it. Read the chip again."
    if not pair.asked:
        screen.good(answer)
        return
    screen.mind(answer)
    if pair.remark_wanted:
        screen.say(
            "Ask who changed it, and put the answer on record: the same call with "
            '--remark "TEXT" --by NAME.'
        )
    elif not pair.remarks:
        screen.say("Ask who changed it, and put the answer on record as a remark.")
