"""A swap ends: contents proven and functions tested, or removed with a reason."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from parambak.answers.forms import Answer, Part, Question
from parambak.errors import CallRefused, Fault
from parambak.keeping.state import select
from parambak.keeping.state.bodies import FunctionTest
from parambak.swap import recording
from parambak.swap.state import accepted_words, others_words
from parambak.swap.swaps import newest_open, swaps_at

if TYPE_CHECKING:
    from parambak.answers.session import Session

RESULTS = ("passed", "failed")
TEST_SHAPE = Fault(
    "swap-test-shape",
    CallRefused,
    "a function test is given as NAME=passed or NAME=failed",
    "A remark may follow: NAME=passed: at 1310 rpm.",
)


class SwapCloseQuestion(Question["SwapCloseAnswer"], frozen=True):
    """The position, who tested and closes, and the function tests: NAME=passed, NAME=failed: why.

    With `abandoned` the swap is removed, for a `reason`. `old_card_to` is where the old card
    goes.
    """

    where: str
    by: str
    tests: tuple[str, ...] = ()
    abandoned: bool = False
    reason: str | None = None
    old_card_to: Literal["spare aboard", "ashore", "scrapped"] = "ashore"


class FunctionTestShown(Part, frozen=True):
    """A function test: passed or failed."""

    name: str
    result: str


class SwapCloseAnswer(Answer, frozen=True):
    """How the swap ended: closed or abandoned; where its cards went.

    `reads_taken_in` is how many read-backs became reads. `bytes_compared` is false where values
    of two layouts proved the contents. `deviations` says what was accepted in the swap,
    `fallback_plan` what was answered on how the old card is fitted again, null where nothing was.
    """

    where: str
    outcome: str
    reads_taken_in: int
    tests: tuple[FunctionTestShown, ...]
    bytes_compared: bool
    cards: tuple[str, ...]
    deviations: tuple[str, ...]
    fallback_plan: str | None


def answer(session: Session, question: SwapCloseQuestion) -> SwapCloseAnswer:
    """Close the swap or give it up; raise NotProven where it cannot be closed yet.

    Function tests of which one failed go on record all the same.
    """
    tests = [_test(text) for text in question.tests]
    vault = session.vault
    there = recording.site_of(session.fleet(), question.where)
    swaps = swaps_at(vault, there.vessel, there.position)
    swap = newest_open(swaps)
    fallback_plan = swap.answers.get("fallback-plan") if swap is not None else None
    accepted = accepted_words(session.assessor, swap)
    notes = others_words([other for other in swaps if other.end is None][:-1])
    by, reason = question.by, question.reason
    if question.abandoned:
        position = recording.abandon(vault, question.where, tests=tests, by=by, reason=reason)
        closed = recording.Closed(position, 0, by_values=False, cards=(), notes=())
    else:
        closed = recording.close(
            vault,
            question.where,
            tests=tests,
            by=by,
            reason=reason,
            old_card_to=question.old_card_to,
        )
        notes += _newest(session, question.where)
    session.note(*closed.notes, *notes)
    return SwapCloseAnswer(
        where=closed.position.where,
        outcome="abandoned" if question.abandoned else "closed",
        reads_taken_in=closed.reads,
        tests=tuple(FunctionTestShown(test.name, test.result) for test in tests),
        bytes_compared=not question.abandoned and not closed.by_values,
        cards=closed.cards,
        deviations=accepted,
        fallback_plan=fallback_plan.text if fallback_plan is not None else None,
    )


def _newest(session: Session, where: str) -> tuple[str, ...]:
    """Say where the newest copy is not what was read back last, or is not verified."""
    position = recording.site_of(session.fleet(), where).position
    copy = position.latest
    if copy is None:
        return ()
    unmet = session.assessor.verdict(position, copy).unmet
    if not unmet:
        return ()
    listed = "; ".join(f"{condition.condition}: {condition.text}" for condition in unmet)
    return (f"the newest copy, {select.copy_name(position, copy)}, is NOT VERIFIED: {listed}",)


def _test(text: str) -> FunctionTest:
    """Return a function test as it was typed; raise CallRefused where it is none."""
    name, _, rest = text.partition("=")
    result, _, remark = rest.partition(":")
    if not name.strip() or result.strip().lower() not in RESULTS:
        raise TEST_SHAPE.error(expected="NAME=passed or NAME=failed", found=repr(text[:80]))
    return FunctionTest(
        name=name.strip(), result=result.strip().lower(), text=remark.strip() or None
    )
