"""The course of a swap, from its opening to its end, by the records each time."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotFound, VaultDamaged
from parambak.keeping.state.bodies import (
    ImageEntry,
    LoadFileBody,
    ReadBackBody,
    SwapAnswerBody,
    SwapClosedBody,
    SwapCopySelectedBody,
    SwapDeviationBody,
    SwapOpenedBody,
    SwapSheetBody,
    SwapTestedBody,
    body_of,
    sound,
)
from parambak.keeping.state.counting import withdrawals_of, without
from parambak.keeping.state.record_sets import local_time
from parambak.keeping.state.unsettled import Conflict
from parambak.keeping.verified import separate_reads
from parambak.memory.counted import counted
from parambak.swap.function_tests import results
from parambak.swap.read_back import BEFORE_POWER
from parambak.vault.order import behind, causal_order, heads

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
    from datetime import datetime

    from parambak.keeping.state.bodies import ConditionEntry, DumpEntry, FunctionTest
    from parambak.keeping.state.counting import Withdrawals
    from parambak.keeping.state.model import Position, Vessel
    from parambak.vault.vault import Stored, Vault

NEW_CARD = "new-card"  # the sheet of the card that goes in
CLOSED, EMERGENCY, ABANDONED = "closed", "emergency", "abandoned"
PROOF_WITHDRAWN = "proof-withdrawn"
"""How a swap ended whose read-backs were withdrawn after it: never on record, worked out."""
OUTCOMES = {
    CLOSED: "closed",
    EMERGENCY: "closed in emergency",
    ABANDONED: "abandoned",
    PROOF_WITHDRAWN: "closed (its proof was withdrawn since)",
}
UNFINISHED = frozenset({EMERGENCY, PROOF_WITHDRAWN})
PASSES = 2  # separate read-backs at one stage

SWAP_NONE = Fault(
    "swap-none-open",
    NotFound,
    "no swap is open at {where}",
    "Open one with `parambak swap open {where} --by NAME --reason TEXT`.",
)
SWAP_OPEN = Fault(
    "swap-open-already",
    CallRefused,
    "a swap is already open at {where}",
    "Continue that swap, or close it with `parambak swap close {where}`.",
)


class Statement(NamedTuple):
    """What a step states of a fact that has one value in a swap: the last record counts.

    `words` is the value as a person reads it; `settled_by` the command that states it again.
    """

    fact: str
    value: str
    words: str
    settled_by: str


@dataclass(frozen=True)
class Step:
    """One step of a swap: its record, the mark of who did it, and the clock."""

    record: str
    by: str | None
    at: datetime


@dataclass(frozen=True)
class Answer(Step):
    """An answer on a condition: `answer` is yes, no, not-known or not-needed."""

    condition: str
    answer: str
    text: str


@dataclass(frozen=True)
class SelectedCopy(Step):
    """The selected copy, if it is not the newest."""

    image: ImageEntry
    why: str


@dataclass(frozen=True)
class Deviation(Step):
    """A condition that was not met and was accepted, for the reason given."""

    condition: str
    text: str
    reason: str


@dataclass(frozen=True)
class Released(Step):
    """A file that was written for loading."""

    body: LoadFileBody


@dataclass(frozen=True)
class ReadBackStep(Step):
    """One dump read back from the loaded card, with the answer then."""

    body: ReadBackBody

    @property
    def call(self) -> str:
        """Return what is common to the dumps of one command."""
        return self.body.call or self.record

    @property
    def loads(self) -> bool:
        """Return whether the card is to be tested again: it was read with power off, or wrong."""
        return self.body.stage == BEFORE_POWER or not self.body.loaded_correctly

    @property
    def dumps(self) -> tuple[DumpEntry, ...]:
        """Return the files read back."""
        return self.body.dumps

    @property
    def untimed(self) -> bool:
        """Return False: the files' times count."""
        return False


@dataclass(frozen=True)
class SheetGiven(Step):
    """The new card's sheet: its digest and its file name."""

    file: tuple[str, str]


@dataclass(frozen=True)
class Tested(Step):
    """Function tests while the swap was open."""

    tests: tuple[FunctionTest, ...]


@dataclass(frozen=True)
class End(Step):
    """How the swap ended: `outcome` is one of `OUTCOMES`; `conditions` are those at that moment."""

    outcome: str
    reason: str | None
    tests: tuple[FunctionTest, ...]
    taken_in: tuple[str, ...]
    old_card_to: str | None
    conditions: tuple[ConditionEntry, ...]

    @property
    def words(self) -> str:
        """Return how it ended, in words."""
        return OUTCOMES.get(self.outcome, self.outcome)

    @property
    def missing(self) -> tuple[str, ...]:
        """Return the names of the conditions that were missing then."""
        return tuple(entry.condition for entry in self.conditions if entry.missing)


@dataclass
class Swap:
    """One swap: how it was opened, and its later steps, in order.

    `conflicts` are what two laptops state differently in it, and no later record settled.
    `unknown_to_end` are the read-backs that were not on record at its end, as another laptop may
    have made them. `passed` are the function tests that passed since the card was loaded, `failed`
    those that failed and did not pass later.
    """

    id: str
    vessel: str
    opened: Step
    body: SwapOpenedBody
    answers: dict[str, Answer] = field(default_factory=dict)
    selection: SelectedCopy | None = None
    deviations: list[Deviation] = field(default_factory=list)
    released: list[Released] = field(default_factory=list)
    read_backs: list[ReadBackStep] = field(default_factory=list)
    tested: list[Tested | End] = field(default_factory=list)
    sheet: SheetGiven | None = None
    passed: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()
    end: End | None = None
    ends: list[End] = field(default_factory=list)
    unknown_to_end: tuple[ReadBackStep, ...] = ()
    conflicts: tuple[Conflict, ...] = ()

    @property
    def route(self) -> str:
        """Return load, or move-chip."""
        return self.body.route

    @property
    def unfinished(self) -> bool:
        """Return whether it was closed with something missing, or its proof was withdrawn."""
        return self.end is not None and self.end.outcome in UNFINISHED

    @property
    def proof(self) -> tuple[ReadBackStep, ...]:
        """Return the read-backs that prove the contents, oldest first; empty without a proof.

        A proof is two or more separate read-backs at one stage, loaded correctly, with no wrong
        one after the first of them, all against the selected copy. By values, two must be the
        same bytes.
        """
        return self.good if self.unproven is None else ()

    @property
    def unproven(self) -> str | None:
        """Return in words why the contents are not proven; None if they are."""
        if not self.read_backs:
            return "no read-back in this swap"
        last = self.read_backs[-1].body
        if not last.loaded_correctly:
            names = ", ".join(dump.name for dump in last.dumps)
            return f"the newest read-back, {names}, was not loaded correctly"
        if self.expected not in {None, last.selected}:
            return "the read-backs were compared with a copy that is not the one selected now"
        groups: dict[tuple[str, str], list[ReadBackStep]] = {}
        for step in self.good:
            same = step.body.image.sha256 if step.body.by_values else ""
            groups.setdefault((step.body.stage, same), []).append(step)
        if any(separate_reads(steps) >= PASSES for steps in groups.values()):
            return None
        listed = [_counted_reads(stage, steps) for (stage, _), steps in groups.items()]
        words = f"two separate reads are required; correct so far: {'; '.join(listed)}"
        by_values = any(same for _, same in groups)
        return words + (". By values, two must have the same bytes" if by_values else "")

    @property
    def expected(self) -> ImageEntry | None:
        """Return the image of the selected copy, else of the last released file; None without."""
        if self.selection is not None:
            return self.selection.image
        return self.released[-1].body.image if self.released else None

    @property
    def unverified(self) -> Released | None:
        """Return the newest release of a file whose copy was not verified, or None."""
        return next((step for step in reversed(self.released) if step.body.unverified), None)

    @property
    def good(self) -> tuple[ReadBackStep, ...]:
        """Return the read-backs since the last one that was wrong, or against another copy."""
        good: list[ReadBackStep] = []
        for step in self.read_backs:
            if good and good[-1].body.selected != step.body.selected:
                good = []
            good = [*good, step] if step.body.loaded_correctly else []
        return tuple(good)


def _counted_reads(stage: str, good: Sequence[ReadBackStep]) -> str:
    separate = separate_reads(good)
    words = f"{stage}: {counted(separate, 'read')}"
    if len(good) == separate:
        return words
    return f"{words} (the same file, or files of exactly the same time, count once)"


def swaps_at(vault: Vault, vessel: Vessel, position: Position) -> tuple[Swap, ...]:
    """Return every swap at a position, in the order in which they were opened."""
    return fold_swaps(in_order(vault, vessel), position.ids)


def in_order(vault: Vault, vessel: Vessel) -> Sequence[Stored]:
    """Return the records about a vessel, under all of its identities, in causal order."""
    records = [stored for identity in sorted(vessel.ids) for stored in vault.records(identity)]
    return records if len(vessel.ids) == 1 else causal_order(records)


def newest_records(vault: Vault, vessel: Vessel) -> frozenset[str]:
    """Return the digests of the newest records about a vessel, which a decision rests on."""
    return frozenset(
        head.digest for identity in vessel.ids for head in heads(vault.records(identity))
    )


def fold_swaps(ordered: Iterable[Stored], position: frozenset[str]) -> tuple[Swap, ...]:
    """Return the swaps at a position from the records about its vessel, in causal order.

    `ordered` are all of them, those that are withdrawn too: they are left out here.
    If a record is lost, the order of later records and the opening is not certain: the openings
    are read first, so that no step of a swap is left out.
    """
    swaps: dict[str, Swap] = {}
    steps: list[Stored] = []
    records = tuple(ordered)
    after = {stored.digest: stored.record.after for stored in records}
    withdrawals = withdrawals_of(records)
    for stored in without(records, withdrawals):
        if stored.record.kind in _TAKERS:
            steps.append(stored)
        elif stored.record.kind == "swap-opened":
            opened = sound(stored, SwapOpenedBody)
            if opened is not None and opened.position in position:
                swap = Swap(opened.swap, stored.record.vessel or "", Step(*_step(stored)), opened)
                swaps[opened.swap] = swap
    stated = _take(swaps, steps)
    for swap in swaps.values():
        swap.conflicts = _conflicts(stated.get(swap.id, ()), after)
        if swap.tested:
            loads = {step.record for step in swap.read_backs if step.loads}
            tests = [(step.record, test) for step in swap.tested for test in step.tests]
            swap.passed, swap.failed = results(tests, loads, after)
        if swap.ends:
            # If one of two laptops closed it, it is closed: its read-backs are reads from then on.
            swap.ends = [*_as_they_count(swap.ends, withdrawals, after)]
            swap.end = next((end for end in swap.ends if end.outcome == CLOSED), swap.ends[-1])
            before = behind([swap.end.record], after)
            swap.unknown_to_end = tuple(
                step for step in swap.read_backs if step.record not in before
            )
    return tuple(swaps.values())


def _as_they_count(
    ends: Iterable[End], withdrawals: Withdrawals, after: Mapping[str, Sequence[str]]
) -> Iterator[End]:
    """Yield the ends, changed where a read-back that proved one was withdrawn after it.

    An end rests on the read-backs that it took in, and on those of the ends before it.
    """
    taken_in: list[str] = []
    for end in ends:
        taken_in += end.taken_in
        before = behind([end.record], after)
        gone = any(
            withdrawal.stored.digest not in before
            for record in taken_in
            for withdrawal in withdrawals.get(record, ())
        )
        closed = end.outcome == CLOSED
        yield replace(end, outcome=PROOF_WITHDRAWN) if closed and gone else end


def _take(
    swaps: Mapping[str, Swap], steps: Iterable[Stored]
) -> dict[str, list[tuple[str, Statement]]]:
    """Add the steps to their swaps; return for each swap what its records state, in order."""
    stated: dict[str, list[tuple[str, Statement]]] = {}
    for stored in steps:
        identity = stored.record.body.get("swap")
        if isinstance(identity, str) and identity in swaps:
            with suppress(VaultDamaged):  # the condition `records-complete` names it
                statement = _TAKERS[stored.record.kind](swaps[identity], stored)
                if statement is not None:
                    stated.setdefault(identity, []).append((stored.digest, statement))
    return stated


def _conflicts(
    stated: Iterable[tuple[str, Statement]], after: Mapping[str, Sequence[str]]
) -> tuple[Conflict, ...]:
    """Return the facts with different values in two records, of which none is after the other."""
    by_fact: dict[str, dict[str, Statement]] = {}
    for record, statement in stated:
        by_fact.setdefault(statement.fact, {})[record] = statement
    against = []
    for fact, statements in by_fact.items():
        if len({statement.value for statement in statements.values()}) < 2:
            continue
        earlier = set[str]().union(*(behind(after.get(record, ()), after) for record in statements))
        current = [s for record, s in statements.items() if record not in earlier]
        if len({statement.value for statement in current}) > 1:
            words = tuple(dict.fromkeys(statement.words for statement in reversed(current)))
            against.append(Conflict(fact, words, settled_by=current[-1].settled_by))
    return tuple(against)


def newest_open(swaps: Sequence[Swap]) -> Swap | None:
    """Return the open swap among those of a position: of several, the one opened last."""
    still_open = [swap for swap in swaps if swap.end is None]
    return still_open[-1] if still_open else None


def at_work(swaps: Sequence[Swap]) -> Swap | None:
    """Return the swap among those of a position that is not finished.

    That is the open one, else the last one if it was closed in emergency. A later swap that was
    closed finishes that one too.
    """
    return newest_open(swaps) or unfinished_of(swaps)


def unfinished_of(swaps: Sequence[Swap]) -> Swap | None:
    """Return the swap among those of a position that was closed unfinished, and no later one well.

    One that is open now, or was abandoned, finishes nothing.
    """
    ended = (swap for swap in reversed(swaps) if swap.end is not None)
    last = next((swap for swap in ended if swap.end and swap.end.outcome != ABANDONED), None)
    return last if last is not None and last.unfinished else None


def unfinished_swaps(vault: Vault, vessel: Vessel) -> dict[str, Swap]:
    """Return the swap that was closed unfinished and not since, by its position's identity."""
    records = in_order(vault, vessel)
    if not any(stored.record.kind == SwapClosedBody.kind for stored in records):
        return {}
    at_positions = [
        (position, unfinished_of(fold_swaps(records, position.ids)))
        for position in vessel.positions
    ]
    return {position.id: swap for position, swap in at_positions if swap is not None}


def the_open_swap(vault: Vault, vessel: Vessel, position: Position) -> Swap:
    """Return the swap at a position that is not finished; raise NotFound without one."""
    swaps = swaps_at(vault, vessel, position)
    swap = at_work(swaps)
    if swap is None:
        last = ended_words(swaps[-1]) if swaps else "none"
        raise SWAP_NONE.error(where=position.where, expected="an open swap", found=last)
    return swap


def ended_words(swap: Swap) -> str:
    """Return how and when an ended swap ended, in words."""
    ends = " and ".join(f"{end.words} on {end.at.date()}" for end in swap.ends)
    twice = sum(end.outcome != EMERGENCY for end in swap.ends) > 1
    return f"the last one was {ends}" + (", by two laptops" if twice else "")


def _step(stored: Stored) -> tuple[str, str | None, datetime]:
    """Return the record of a step, the mark of who did it, and when, by the clock there."""
    return stored.digest, stored.record.by, local_time(stored.record)


def _answer(swap: Swap, stored: Stored) -> Statement:
    body = body_of(stored.record, stored.digest, SwapAnswerBody)
    step = Answer(*_step(stored), body.condition, body.answer, body.text)
    swap.answers[body.condition] = step
    command = f"parambak swap answer {{where}} '{body.condition}=ANSWER: TEXT' --by NAME"
    return Statement(body.condition, body.answer, f"{body.answer}: {body.text}", command)


def _choice(swap: Swap, stored: Stored) -> Statement:
    body = body_of(stored.record, stored.digest, SwapCopySelectedBody)
    swap.selection = SelectedCopy(*_step(stored), body.image, body.why)
    sha256 = body.image.sha256
    command = "parambak swap select {where}@COPY --by NAME --reason TEXT"
    return Statement("copy-selected", sha256, sha256[:8], command)


def _deviation(swap: Swap, stored: Stored) -> None:
    body = body_of(stored.record, stored.digest, SwapDeviationBody)
    swap.deviations.append(Deviation(*_step(stored), body.condition, body.text, body.reason))


def _released(swap: Swap, stored: Stored) -> None:
    body = body_of(stored.record, stored.digest, LoadFileBody)
    swap.released.append(Released(*_step(stored), body))


def _read_back(swap: Swap, stored: Stored) -> None:
    body = body_of(stored.record, stored.digest, ReadBackBody)
    swap.read_backs.append(ReadBackStep(*_step(stored), body))


def _sheet(swap: Swap, stored: Stored) -> Statement:
    body = body_of(stored.record, stored.digest, SwapSheetBody)
    swap.sheet = SheetGiven(*_step(stored), (body.sheet, body.name))
    command = "parambak swap check {where} --new-card FILE"
    return Statement(NEW_CARD, body.sheet, f"{body.name} ({body.sheet[:8]})", command)


def _tested(swap: Swap, stored: Stored) -> None:
    body = body_of(stored.record, stored.digest, SwapTestedBody)
    swap.tested.append(Tested(*_step(stored), body.tests))


def _closed(swap: Swap, stored: Stored) -> None:
    body = body_of(stored.record, stored.digest, SwapClosedBody)
    end = End(
        *_step(stored),
        body.outcome,
        body.reason,
        body.tests,
        body.taken_in,
        body.old_card_to,
        body.conditions,
    )
    swap.ends.append(end)
    swap.tested.append(end)


# A step that returns a Statement has one value that counts: two laptops may be in conflict.
_TAKERS: dict[str, Callable[[Swap, Stored], Statement | None]] = {
    "swap-answer": _answer,
    "swap-copy-selected": _choice,
    "swap-sheet": _sheet,
    "swap-deviation": _deviation,
    "load-file": _released,
    "read-back": _read_back,
    "swap-tested": _tested,
    "swap-closed": _closed,
}
