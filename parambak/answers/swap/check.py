"""Whether a swap may begin, and every reason."""

from __future__ import annotations

from pathlib import PurePath
from typing import TYPE_CHECKING

from parambak.answers.card.compare import COMPARE_CARD, recorded_sheet
from parambak.answers.forms import DAMAGED, NO, YES, Answer, Part, Question
from parambak.answers.given_files import sheet_file
from parambak.errors import VaultDamaged, VaultRefused
from parambak.keeping.state import conditions, select
from parambak.memory.digests import sha256
from parambak.swap import recording
from parambak.swap.card_sheet import read_sheet
from parambak.swap.guard import ACCEPT_ALONE, Acceptance, cleared, steps
from parambak.swap.state import GivenSheet, accepted_words, notes_on, swap_state, who

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.bodies import ConditionEntry
    from parambak.swap.readiness import Readiness
    from parambak.swap.state import SwapState
    from parambak.swap.swaps import Swap


class SwapCheckQuestion(Question["SwapCheckAnswer"], frozen=True):
    """The position, the new card's sheet (a file), and the conditions that are accepted unmet.

    `new_card_serial` names a card whose sheet is on record. With `accept` go the person `by` and
    the `reason`.
    """

    where: str
    new_card: str | None = None
    new_card_serial: str | None = None
    accept: tuple[str, ...] = ()
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
    """A condition that was accepted though it was not met, as it was then; by whom, when.

    `counts` states whether it still counts: it does while the evidence is the same.
    """

    condition: str
    text: str
    reason: str
    by: str
    counts: bool


class SwapCheckAnswer(Answer, frozen=True):
    """Whether the swap may begin: every condition in the order of the work.

    `open` shows whether a swap is at work at `where`; `copy` is the copy that would be loaded.
    `missing` are the required conditions that are neither met nor accepted, `answerable` those of
    them that a person answers, and `steps` what to do about each. `to_close` are the conditions
    that are required only to close the swap. `accepted` says in words what was accepted in this
    swap, a file's release among it; `rules` is the title of the ship's rules. `lost` are the files
    of lost records about the vessel, whose loss nobody accepted for this position, and the damaged
    files that the copy relies on.
    """

    where: str
    ready: bool
    open: bool
    copy: str | None
    conditions: tuple[ConditionShown, ...]
    missing: tuple[str, ...]
    answerable: tuple[str, ...]
    steps: tuple[str, ...]
    to_close: tuple[ConditionShown, ...]
    deviations: tuple[DeviationShown, ...]
    accepted: tuple[str, ...]
    rules: str | None
    lost: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """Return 0 where the swap may begin, 3 where a file is lost, else 1."""
        if self.lost:
            return DAMAGED
        return YES if self.ready else NO


def answer(session: Session, question: SwapCheckQuestion) -> SwapCheckAnswer:
    """Check every condition, and put on record what is accepted unmet.

    A sheet that is given for the swap at work is kept with it. Raise CallRefused if a condition
    cannot be accepted, SheetRefused for the sheet given, and NotFound, VaultRefused or
    VaultDamaged.
    """
    data, sheet = _given(session, question)
    if not question.accept and (question.by or question.reason):
        raise ACCEPT_ALONE.error(expected="--accept CONDITION", found="no --accept")

    def state_now() -> SwapState:
        return swap_state(session.fleet(), session.assessor, question.where, sheet)

    state = state_now()
    acceptance = Acceptance(question.accept, question.reason, question.by)
    step = cleared(state, acceptance)
    if step.accepted:
        with session.vault.writing() as writing:
            step.put(writing, acceptance)
    if sheet is not None and state.swap is not None:
        _keep(session, state.swap, sheet, data, question.by)
    if step.accepted:
        state = state_now()
    session.note(*state.rules.notes, *notes_on(session.vault, state))
    return _answer(session, state, state.readiness())


def _given(session: Session, question: SwapCheckQuestion) -> tuple[bytes, GivenSheet | None]:
    """Return the new card's sheet: a file, or what is on record of a card by its serial number."""
    if question.new_card is not None and question.new_card_serial is not None:
        raise COMPARE_CARD.error(expected="one of the two", found="both")
    if question.new_card is not None:
        data, sheet = sheet_file(question.new_card)
        return data, GivenSheet(sha256(data), PurePath(question.new_card).name, sheet)
    if question.new_card_serial is None:
        return b"", None
    vessel = select.vessel_at(session.fleet(), question.where)
    digest, name = recorded_sheet(vessel, question.new_card_serial)
    data = session.vault.read_object(digest)
    return data, GivenSheet(digest, name, read_sheet(data, name))


def _keep(session: Session, swap: Swap, sheet: GivenSheet, data: bytes, by: str | None) -> None:
    """Keep a sheet with the swap; on a vault that cannot be written, state that it is not kept."""
    try:
        recording.keep_sheet(session.vault, swap, sheet, data, by)
    except (VaultRefused, VaultDamaged) as error:
        session.note(f"the new card's sheet is NOT ON RECORD in this swap: {error.text}")


def _answer(session: Session, state: SwapState, readiness: Readiness) -> SwapCheckAnswer:
    deviations = (
        DeviationShown(
            deviation.condition,
            deviation.text,
            deviation.reason,
            who(session.assessor, deviation),
            counts=readiness.counts(deviation),
        )
        for deviation in readiness.deviations
    )
    closing = state.readiness(closing=True)
    to_close = closing.entries[len(readiness.entries) :]
    return SwapCheckAnswer(
        where=state.position.where,
        ready=readiness.ready,
        open=state.swap is not None,
        copy=state.evidence.copy,
        conditions=tuple(_shown(entry, readiness) for entry in readiness.entries),
        missing=readiness.missing,
        answerable=tuple(n for n in readiness.missing if n in conditions.answerable()),
        steps=steps(state.position.where, readiness.unmet),
        to_close=tuple(_shown(entry, closing) for entry in to_close) if state.swap else (),
        deviations=tuple(deviations),
        accepted=accepted_words(session.assessor, state.swap),
        rules=state.rules.title,
        lost=_lost(session, state),
    )


def _lost(session: Session, state: SwapState) -> tuple[str, ...]:
    """Return the files of lost records, and those damaged of what the selected copy relies on."""
    records = [record.file for record in state.position.unsettled.lost]
    copy = state.copy
    damaged = session.assessor.damaged_files(state.position, copy) if copy is not None else {}
    return tuple(dict.fromkeys((*records, *damaged)))


def _shown(entry: ConditionEntry, readiness: Readiness) -> ConditionShown:
    return ConditionShown(
        entry.condition,
        entry.met,
        entry.text,
        required=entry.required,
        required_when_open=entry.condition in readiness.required_when_open,
    )
