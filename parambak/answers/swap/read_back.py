"""Whether the card is loaded correctly: what was read from it, against the selected copy."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from msgspec import UNSET, UnsetType
from msgspec.structs import asdict

from parambak.answers import differences, given_files
from parambak.answers.decoded import decoded_by
from parambak.answers.differences import (
    NotCarriedShown,
    ValuesCompared,
)
from parambak.answers.disagreement import ExplanationShown, explanation_of
from parambak.answers.forms import NO, YES, Answer, Part, Question
from parambak.answers.swap.load_file import COPY_LOST
from parambak.answers.swap.read_back_doubts import (
    Compared,
    doubts_of,
    not_enough,
    older,
    others,
    refuse_load_files,
    refuse_old_files,
)
from parambak.errors import Fault, LayoutRefused, NotFound, VaultDamaged, VaultRefused
from parambak.keeping.state import select
from parambak.keeping.state.cards import cross_over_notes
from parambak.layouts import coverage
from parambak.memory.counted import counted
from parambak.reads.pairs import PairScheme
from parambak.swap.guard import ACCEPT_ALONE, Acceptance, accepted_now, cleared, require
from parambak.swap.read_back import (
    AFTER_POWER,
    BEFORE_POWER,
    ReadBack,
    Stage,
    compare,
    compare_values,
    start_up,
)
from parambak.swap.recording import ValueLayouts, record_read_back
from parambak.swap.state import accepted_words, others_words, swap_state
from parambak.swap.swaps import at_work, swaps_at
from parambak.swap.unsettled import refuse_unsettled

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.answers.differences import RunShown, ValueChangeShown
    from parambak.answers.session import Session
    from parambak.differences.bytes import Run
    from parambak.keeping.assess import Assessor
    from parambak.keeping.recording.received import Incoming
    from parambak.keeping.state.model import Copy, Position, Vessel
    from parambak.layouts.decode import CheckResult
    from parambak.layouts.model import Layout
    from parambak.memory.image import Image
    from parambak.swap.guard import Cleared
    from parambak.swap.read_back import ValuesReadBack
    from parambak.swap.state import SwapState
    from parambak.swap.swaps import Swap

NO_COPY = Fault(
    "read-back-no-copy",
    NotFound,
    "there is no verified copy to compare the card with",
    "Run `parambak swap check {where}`; to compare with a copy that is not verified, use "
    "`parambak diff {where} DUMP`.",
)


class SwapReadBackQuestion(Question["SwapReadBackAnswer"], frozen=True):
    """The position, the dumps read from its card, and the stage: before-power or after-power.

    `layout` is the card's own, where its software moved the fields: values are then compared,
    with that of the copy (`old_layout`, else the position's) and a table of `renames`. `accept`
    are conditions of the swap that are accepted unmet, with the person `by` and a `reason`.
    """

    where: str
    dumps: tuple[str, ...]
    stage: Stage = BEFORE_POWER
    format_name: str | None = None
    profile: str | None = None
    pair: PairScheme | None = None
    by: str | None = None
    accept: tuple[str, ...] = ()
    reason: str | None = None
    layout: str | None = None
    old_layout: str | None = None
    renames: str | None = None


class DifferenceShown(Part, frozen=True):
    """A stretch that differs: bytes of the copy and of the card, and the fields over it."""

    start: int
    old: str
    new: str
    fields: str


class Mismatch(Part, frozen=True, kw_only=True):
    """What differs of the whole answer: bytes from `start` on, or the value of a `field`.

    The members of the other kind are left out. `old` is of the copy, `new` of the card.
    """

    old: str
    new: str
    start: int | UnsetType = UNSET
    field: str | UnsetType = UNSET
    old_field: str | UnsetType = UNSET
    kind: str | UnsetType = UNSET
    at: int | UnsetType = UNSET
    unit: str | UnsetType | None = UNSET
    within_limits: bool | UnsetType | None = UNSET
    belongs_to_card: bool | UnsetType = UNSET
    running: bool | UnsetType = UNSET


class CheckShown(Part, frozen=True):
    """A check of the layout that does not hold (false), or cannot be judged (null)."""

    check: str
    holds: bool | None


class DumpReadBack(Part, frozen=True, kw_only=True):
    """One dump read from the card: what may not differ, what may, and why it may be so.

    `start_up` says that the unit's own start-up wrote what differs; `values` what became of the
    values, null where bytes were compared.
    """

    file: str
    differences: tuple[DifferenceShown, ...]
    running_differences: tuple[DifferenceShown, ...]
    failing: tuple[CheckShown, ...]
    start_up: str | None
    explanation: ExplanationShown | None
    values: ValuesCompared | None


class SwapReadBackAnswer(Answer, frozen=True, kw_only=True):
    """Whether the card holds the copy, by bytes or by values; of all dumps, and of each.

    `moved` states that the old chip was moved onto the card. `deviations` says what was accepted
    in the swap, `doubts` what this read-back may not prove; `proven` states that the swap can be
    closed by what was read back so far. What does not apply is left out.
    """

    where: str
    stage: str
    moved: bool
    loaded_correctly: bool
    bytes_compared: bool
    copy: str
    differences: tuple[Mismatch, ...]
    running_differences: tuple[Mismatch, ...]
    failing_checks: tuple[str, ...]
    not_carried: tuple[NotCarriedShown, ...] | UnsetType = UNSET
    start_up: str | UnsetType | None = UNSET
    explanation: ExplanationShown | UnsetType | None = UNSET
    dumps: tuple[DumpReadBack, ...]
    deviations: tuple[str, ...]
    doubts: tuple[str, ...]
    proven: bool

    @property
    def exit_code(self) -> int:
        """Return 0 where the card is loaded correctly, else 1."""
        return YES if self.loaded_correctly else NO


@dataclass(frozen=True)
class _Expected:
    """What the card should hold, and what is on record of its swap."""

    vessel: Vessel
    position: Position
    swaps: tuple[Swap, ...]
    swap: Swap | None
    copy: Copy
    name: str
    image: Image
    layout: Layout | None
    step: Cleared
    acceptance: Acceptance


@dataclass(frozen=True)
class _ByValues:
    """The layouts by which values are compared, read once: what is compared by is kept."""

    old: Layout
    layouts: ValueLayouts
    named: str


_Results = list[tuple["Incoming", "ReadBack | ValuesReadBack"]]


def answer(session: Session, question: SwapReadBackQuestion) -> SwapReadBackAnswer:
    """Compare each dump with the selected copy, and put all of it on record.

    That is the copy selected in the open swap, else the one released last in it, else its newest;
    without a swap it is the latest verified one. A card that is not loaded correctly is on record
    in any case. Of one that is, raise NotProven if a condition that the swap requires is neither
    met nor accepted. Raise NotFound without a copy, VaultDamaged if a record is lost, and what a
    file is refused for.
    """
    expected = _expected(session, question)
    by_values = _by_values(question, expected)
    incoming, times = _read(session, question, expected, by_values)
    if by_values is not None:
        results, members = _compare_values(question, expected, by_values, incoming)
    else:
        results, members = _compare_bytes(session.assessor, question, expected, incoming)
    compared = Compared(
        expected.vessel,
        expected.position,
        expected.copy,
        expected.image,
        incoming,
        question.pair,
        times,
    )
    refuse_old_files(compared)
    refuse_load_files(session.vault, compared)
    doubts = doubts_of(session.vault, compared)
    loaded = all(result.loaded_correctly for _, result in results)
    if expected.swap is not None and loaded:  # what is wrong goes on record in any case
        require(expected.step)
    _notes(session, expected)
    _put_on_record(session, question, expected, results, by_values)
    swap = _swap_now(session, expected)
    doubts += not_enough(swap, len(results), loaded=loaded)
    return SwapReadBackAnswer(
        where=expected.position.where,
        stage=question.stage,
        moved=expected.swap is not None and expected.swap.route == "move-chip",
        loaded_correctly=loaded,
        copy=expected.name,
        deviations=accepted_words(session.assessor, swap),
        doubts=doubts,
        proven=swap is not None and swap.unproven is None,
        **members,
    )


def _expected(session: Session, question: SwapReadBackQuestion) -> _Expected:
    """Return what the card should hold, and what the swap requires; raise CallRefused."""
    if question.reason and not question.accept:
        raise ACCEPT_ALONE.error(expected="--accept CONDITION", found="no --accept")
    state = swap_state(session.fleet(), session.assessor, question.where, loaded=True)
    vessel, position, swap = state.vessel, state.position, state.swap
    acceptance = accepted_now(question.where, question.accept, question.reason, question.by)
    step = cleared(state, acceptance)
    swaps = swaps_at(session.vault, vessel, position)
    refuse_unsettled(vessel, position, swap)
    copy = _selected_copy(session.assessor, state)
    layout = session.assessor.layout_of(position)
    image, name = session.assessor.image(copy.image), select.copy_name(position, copy)
    return _Expected(vessel, position, swaps, swap, copy, name, image, layout, step, acceptance)


def _selected_copy(assessor: Assessor, state: SwapState) -> Copy:
    """Return the copy that the card should hold; raise NotFound where there is none."""
    position, swap = state.position, state.swap
    if state.copy is None and swap is not None and swap.expected is not None:
        raise COPY_LOST.error(
            where=position.where,
            expected="the copy that was selected or released in this swap",
            found=f"none with the SHA-256 {swap.expected.sha256[:8]}",
        )
    if swap is not None and state.copy is not None:
        return state.copy
    for copy in reversed(position.copies):
        if assessor.verdict(position, copy).verified:
            return copy
    raise NO_COPY.error(
        where=position.where,
        expected="a verified copy to compare with",
        found=f"{counted(len(position.copies), 'copy', 'copies')}, none verified",
    )


def _by_values(question: SwapReadBackQuestion, expected: _Expected) -> _ByValues | None:
    """Read the layouts; the copy's is the position's own where none is named.

    None where none of the files is named. Refuse where only one of the two layouts is known.
    """
    new_name, old_name, renames_name = question.layout, question.old_layout, question.renames
    if new_name is None and old_name is None and renames_name is None:
        return None
    if new_name is None:
        raise differences.TWO_LAYOUTS.error(expected="two layouts", found="no --layout")
    new, renames = given_files.layout_file(new_name), differences.renames_file(renames_name)
    named = renames_name or new_name
    if old_name is not None:
        old = given_files.layout_file(old_name)
        return _ByValues(old.layout, ValueLayouts(old, new, renames), named)
    entry = expected.position.layout
    if expected.layout is None or entry is None:
        raise differences.TWO_LAYOUTS.error(expected="two layouts", found="no --old-layout")
    return _ByValues(expected.layout, ValueLayouts(entry, new, renames), named)


def _read(
    session: Session, question: SwapReadBackQuestion, expected: _Expected, values: _ByValues | None
) -> tuple[list[Incoming], bool]:
    """Return the dumps as they stand on the chip, and whether their files' times count."""
    if values is not None:
        size: int | None = values.layouts.new.layout.memory
    else:
        size = session.assessor.memory_size(expected.position, expected.layout)
    profile = given_files.profile_file(question.profile).profile if question.profile else None
    taking = given_files.Taking(question.format_name, (), size, profile, question.pair)
    incoming = given_files.reads_of(question.dumps, taking)
    return incoming, profile is None or profile.file_times


def _compare_bytes(
    assessor: Assessor,
    question: SwapReadBackQuestion,
    expected: _Expected,
    incoming: list[Incoming],
) -> tuple[_Results, dict[str, Any]]:
    """Return how each dump compares, and the members of the answer that say it."""
    results: _Results = []
    dumps: list[DumpReadBack] = []
    held_before, others_held = _so_far(assessor, expected.vessel, expected.swap)
    for read in incoming:
        result = _compared(expected, read.image, question.stage)
        wrote = None
        if result.differences and question.stage == AFTER_POWER:
            wrote = start_up(
                read.image, result.differences, held_before=held_before, memories=others_held
            )
        why = None
        if result.differences and wrote is None:
            names = ("the selected copy", read.entry.name)
            why = explanation_of((expected.image, read.image), names)
        results.append((read, result))
        dumps.append(_dump(read, result, expected.layout, wrote, why))
    runs = [result for _, result in results if isinstance(result, ReadBack)]
    return results, {
        "bytes_compared": True,
        "differences": _mismatches(
            differences.run_shown(run) for r in runs for run in r.differences
        ),
        "running_differences": _mismatches(
            differences.run_shown(run) for r in runs for run in r.running_differences
        ),
        "failing_checks": tuple(check.check for r in runs for check in r.failing),
        "start_up": next((dump.start_up for dump in dumps if dump.start_up), None),
        "explanation": next((dump.explanation for dump in dumps if dump.explanation), None),
        "dumps": tuple(dumps),
    }


def _compared(expected: _Expected, read: Image, stage: str) -> ReadBack:
    """Return how the bytes compare, and after power whether the layout's checks hold too."""
    layout = expected.layout
    if layout is None or stage != AFTER_POWER:
        return compare(expected.image, read, stage)
    checks = decoded_by(layout, read).checks
    return compare(expected.image, read, stage, _moving(layout), checks)


def _moving(layout: Layout) -> dict[int, int]:
    """Return for each address the bits that are expected to change once powered."""
    moving = dict(coverage.masks(layout, "running"))
    for address, bits in coverage.masks(layout, "volatile").items():
        moving[address] = moving.get(address, 0) | bits
    return moving


def _so_far(assessor: Assessor, vessel: Vessel, swap: Swap | None) -> tuple[bool, dict[str, Image]]:
    """Return whether the card was right before power, and what the new card held when it came."""
    if swap is None:
        return False, {}
    before = [step for step in swap.read_backs if step.body.stage == BEFORE_POWER]
    held = {}
    for card in vessel.cards:
        if swap.body.new_card in card.ids:
            for position in card.positions:
                for copy in position.copies:
                    with suppress(VaultDamaged):
                        name = f"{select.copy_name(position, copy)}, the new card's own"
                        held[name] = assessor.image(copy.image)
    return bool(before) and before[-1].body.loaded_correctly, held


def _dump(
    read: Incoming,
    result: ReadBack,
    layout: Layout | None,
    wrote: str | None,
    why: ExplanationShown | None,
) -> DumpReadBack:
    def shown(runs: Sequence[Run]) -> tuple[DifferenceShown, ...]:
        return tuple(
            DifferenceShown(
                run.start, run.old.hex().upper(), run.new.hex().upper(), _fields(layout, run)
            )
            for run in runs
        )

    return DumpReadBack(
        file=read.entry.name,
        differences=shown(result.differences),
        running_differences=shown(result.running_differences),
        failing=_failing(result.failing),
        start_up=wrote,
        explanation=why,
        values=None,
    )


def _failing(checks: Sequence[CheckResult]) -> tuple[CheckShown, ...]:
    return tuple(CheckShown(check.check, check.holds) for check in checks)


def _fields(layout: Layout | None, run: Run) -> str:
    """Return the names of the fields over a stretch."""
    if layout is None:
        return ""
    return ", ".join(coverage.fields_over(layout, run.start, run.length)) or "no field"


def _compare_values(
    question: SwapReadBackQuestion,
    expected: _Expected,
    values: _ByValues,
    incoming: list[Incoming],
) -> tuple[_Results, dict[str, Any]]:
    """Return what became of each value, and the members of the answer that say it."""
    table = differences.renames_of(values.layouts.renames)
    old = decoded_by(values.old, expected.image)
    results: list[tuple[Incoming, ValuesReadBack]] = []
    dumps: list[DumpReadBack] = []
    for read in incoming:
        new = decoded_by(values.layouts.new.layout, read.image)
        try:
            result = compare_values(old, new, table, question.stage)
        except LayoutRefused as error:
            raise error.in_file(values.named) from error
        results.append((read, result))
        values_shown = ValuesCompared(**differences.values_compared(old, new, result.carried))
        dumps.append(_dump_of_values(read, result, values_shown))
    shown = differences.value_change_shown
    outcomes = [result for _, result in results]
    return list(results), {
        "bytes_compared": False,
        "differences": _mismatches(shown(one) for r in outcomes for one in r.differences),
        "running_differences": _mismatches(
            shown(one) for r in outcomes for one in r.running_differences
        ),
        "not_carried": tuple(
            differences.not_carried_shown(value)
            for r in outcomes
            for value in r.carried.not_carried
        ),
        "failing_checks": tuple(check.check for r in outcomes for check in r.failing),
        "dumps": tuple(dumps),
    }


def _dump_of_values(read: Incoming, result: ValuesReadBack, values: ValuesCompared) -> DumpReadBack:
    return DumpReadBack(
        file=read.entry.name,
        differences=(),
        running_differences=(),
        failing=_failing(result.failing),
        start_up=None,
        explanation=None,
        values=values,
    )


def _mismatches(parts: Iterable[RunShown | ValueChangeShown]) -> tuple[Mismatch, ...]:
    return tuple(Mismatch(**asdict(part)) for part in parts)


def _notes(session: Session, expected: _Expected) -> None:
    """Note an older copy, further open swaps, and cards that are crossed over."""
    position, vessel = expected.position, expected.vessel
    units = [unit for unit in vessel.units if position in unit.positions]
    session.note(
        *older(position, expected.copy, expected.swap),
        *others_words(others(expected.swaps, expected.swap)),
        *cross_over_notes(session.vault, vessel, units),
    )


def _put_on_record(
    session: Session,
    question: SwapReadBackQuestion,
    expected: _Expected,
    results: _Results,
    values: _ByValues | None,
) -> None:
    """Keep the read-back; a vault that cannot be written keeps nobody from the answer."""
    try:
        record_read_back(
            session.vault,
            expected.position,
            expected.copy,
            results,
            by=question.by,
            layouts=values.layouts if values is not None else None,
            swap=expected.swap.id if expected.swap is not None else None,
            accepting=(expected.step, expected.acceptance),
        )
    except (VaultRefused, VaultDamaged) as error:
        if expected.step.accepted:
            raise
        session.note(f"this read-back is NOT ON RECORD: {error.text}")


def _swap_now(session: Session, expected: _Expected) -> Swap | None:
    """Return the swap at work with what was read back in this call."""
    if expected.swap is None:
        return None
    return at_work(swaps_at(session.vault, expected.vessel, expected.position))
