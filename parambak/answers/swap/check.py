"""Whether a swap may begin, and every reason."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.forms import DAMAGED, NO, YES, Answer, Part, Question
from parambak.answers.given_files import sheet_file
from parambak.errors import CallRefused, Fault
from parambak.keeping.state import conditions
from parambak.memory.digests import sha256
from parambak.swap import recording
from parambak.swap.state import accepted_words, notes_on, swap_state, who

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.swap.readiness import Readiness
    from parambak.swap.state import SwapState

ACCEPT_CONDITION = Fault(
    "swap-accept-condition",
    CallRefused,
    "that condition cannot be accepted",
    "Name one condition as `parambak swap check` lists it. Nothing can be loaded without a copy "
    "that is plausible and unchanged on disk.",
)
ACCEPT_WORDS = Fault(
    "swap-accept-words",
    CallRefused,
    "to accept a deviation, type its condition twice, and give your name and a reason",
    "Give --accept {condition} --confirm {condition} --by NAME --reason TEXT.",
)
ACCEPT_ALONE = Fault(
    "swap-accept-none",
    CallRefused,
    "no condition to accept is named, so nothing was put on record",
    "Name it with --accept CONDITION, or leave --confirm, --by and --reason out.",
)
ACCEPT_MET = Fault(
    "swap-accept-met",
    CallRefused,
    "{condition} is met: there is nothing to accept",
    "Run `parambak swap check` without --accept.",
)


class SwapCheckQuestion(Question["SwapCheckAnswer"], frozen=True):
    """The position, the new card's sheet (a file), and a condition that is accepted.

    `accept` is put on record though it is not met; it goes with itself typed again in
    `confirm`, the person `by` and the `reason`.
    """

    where: str
    new_card: str | None = None
    accept: str | None = None
    confirm: str | None = None
    by: str | None = None
    reason: str | None = None


class ConditionShown(Part, frozen=True):
    """One condition: met, not met or not known (null), why, and whether it is required.

    `required_when_open` is whether it is required once a swap is open at the position.
    """

    condition: str
    met: bool | None
    text: str
    required: bool
    required_when_open: bool


class DeviationShown(Part, frozen=True):
    """A condition that was accepted though it was not met, as it was then; by whom, when."""

    condition: str
    text: str
    reason: str
    by: str
    in_this_call: bool


class SwapCheckAnswer(Answer, frozen=True):
    """Whether the swap may begin: every condition in the order of the work.

    `open` shows whether a swap is open at `where`; `copy` is the copy that would be loaded.
    `missing` are the required conditions that are neither met nor accepted in this call, and
    `answerable` those of them that a person answers. `accepted` says in words what was accepted
    in this swap, a file's release among it; `rules` is the title of the ship's rules. `lost` are
    the files of lost records about the vessel, whose loss nobody accepted for this position.
    """

    where: str
    ready: bool
    open: bool
    copy: str | None
    conditions: tuple[ConditionShown, ...]
    missing: tuple[str, ...]
    answerable: tuple[str, ...]
    deviations: tuple[DeviationShown, ...]
    accepted: tuple[str, ...]
    rules: str | None
    lost: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """Return 0 where the swap may begin, 3 where a record is lost, else 1."""
        if self.lost:
            return DAMAGED
        return YES if self.ready else NO


def answer(session: Session, question: SwapCheckQuestion) -> SwapCheckAnswer:
    """Check every condition, and put one on record as accepted where that is asked.

    Raise CallRefused where it cannot be accepted so, SheetRefused for the sheet given, and
    NotFound, VaultRefused or VaultDamaged.
    """
    data, sheet = sheet_file(question.new_card) if question.new_card is not None else (b"", None)
    if question.accept is None and (question.confirm or question.by or question.reason):
        raise ACCEPT_ALONE.error(expected="--accept CONDITION", found="no --accept")

    def state_now() -> SwapState:
        return swap_state(
            session.fleet(), session.assessor, question.where, sheet, sheet_file=sha256(data)
        )

    state = state_now()
    accepted: frozenset[str] = frozenset()
    if question.accept is not None:
        _accept(session, state, question.accept, question)
        accepted = frozenset({question.accept})
        state = state_now()
    session.note(*state.rules.notes, *notes_on(session.vault, state))
    return _answer(session, state, state.readiness(accepted))


def _accept(session: Session, state: SwapState, condition: str, words: SwapCheckQuestion) -> None:
    """Put an accepted deviation on record; raise where it cannot be accepted so."""
    able = [name for name in conditions.names() if name not in conditions.always()]
    if condition not in able:
        raise ACCEPT_CONDITION.error(expected=", ".join(able), found=repr(condition[:40]))
    if words.confirm != condition or not words.by or not words.reason:
        raise ACCEPT_WORDS.error(
            condition=condition,
            expected=f"--confirm {condition} --by NAME --reason TEXT",
            found=f"--confirm {words.confirm}" if words.confirm else "not all of them",
        )
    now = next(c for c in state.readiness().conditions if c.condition == condition)
    if now.met:
        raise ACCEPT_MET.error(condition=condition, expected="one not met", found=now.text)
    recording.accept(
        session.vault,
        state.position.where,
        condition=condition,
        text=now.text,
        reason=words.reason,
        by=words.by,
    )


def _answer(session: Session, state: SwapState, readiness: Readiness) -> SwapCheckAnswer:
    deviations = (
        DeviationShown(
            deviation.condition,
            deviation.text,
            deviation.reason,
            who(session.assessor, deviation),
            deviation.condition in readiness.accepted,
        )
        for deviation in readiness.deviations
    )
    return SwapCheckAnswer(
        where=state.position.where,
        ready=readiness.ready,
        open=state.swap is not None,
        copy=state.evidence.copy,
        conditions=tuple(
            ConditionShown(
                *condition,
                required=condition.condition in readiness.required,
                required_when_open=condition.condition in readiness.required_when_open,
            )
            for condition in readiness.conditions
        ),
        missing=readiness.missing,
        answerable=tuple(n for n in readiness.missing if n in conditions.answerable()),
        deviations=tuple(deviations),
        accepted=accepted_words(session.assessor, state.swap),
        rules=state.rules.title,
        lost=tuple(record.file for record in state.position.unsettled.lost),
    )
