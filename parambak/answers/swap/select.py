"""An older copy selected in a swap, in place of the newest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.answers.differences import RunShown, run_shown
from parambak.answers.forms import Answer, Question
from parambak.differences.bytes import runs
from parambak.keeping.state import select
from parambak.swap import recording
from parambak.swap.state import accepted_words, notes_on, swap_state

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.model import Copy
    from parambak.swap.state import SwapState


class SwapSelectQuestion(Question["SwapSelectAnswer"], frozen=True):
    """The selected copy, who chooses it, and why not the newest."""

    copy: str
    by: str
    reason: str


class SwapSelectAnswer(Answer, frozen=True):
    """The selected copy from here on, whether it is verified, and how it differs.

    `runs` are the bytes of the newest copy and of this one. `accepted` says in words what was
    accepted in this swap.
    """

    copy: str
    newest: str
    verified: bool
    changed_bytes: int
    runs: tuple[RunShown, ...]
    accepted: tuple[str, ...]


def answer(session: Session, question: SwapSelectQuestion) -> SwapSelectAnswer:
    """Put the choice on record in the open swap; raise NotFound, VaultRefused or VaultDamaged."""
    position, chosen = select.find_copy(session.fleet(), question.copy)
    assessor = session.assessor
    newest = select.copy_named(position, "latest")
    differing = runs(assessor.image(newest.image), assessor.image(chosen.image))
    verified = assessor.verdict(position, chosen).verified
    name = select.copy_name(position, chosen)
    recording.select_copy(
        session.vault, position.where, chosen, why=question.reason, by=question.by
    )
    state = swap_state(session.fleet(), assessor, position.where)
    session.note(*notes_on(session.vault, state), *_stale(state, chosen))
    return SwapSelectAnswer(
        copy=name,
        newest=select.copy_name(position, newest),
        verified=verified,
        changed_bytes=sum(run.length for run in differing),
        runs=tuple(run_shown(run) for run in differing),
        accepted=accepted_words(assessor, state.swap),
    )


def _stale(state: SwapState, chosen: Copy) -> tuple[str, ...]:
    """Say that a file of another copy was released, and that what was read back counts no more."""
    swap = state.swap
    if swap is None or not swap.released or swap.released[-1].body.image == chosen.image:
        return ()
    return (
        (
            "a file of another copy was released in this swap: delete that file, write a new one "
            "with `parambak swap load-file`, and read the card back again"
        ),
    )
