"""A swap ends: all of it done, in emergency with something missing, or abandoned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from parambak.answers.forms import Answer, Part, Question
from parambak.errors import CallRefused, Fault
from parambak.keeping.state import select
from parambak.keeping.state.bodies import FunctionTest
from parambak.swap import ending, recording
from parambak.swap.closing import GivenNow
from parambak.swap.ending import Closed, Ending
from parambak.swap.function_tests import RESULTS
from parambak.swap.guard import accepted_now
from parambak.swap.state import accepted_words, others_words
from parambak.swap.swaps import ABANDONED, swaps_at, the_open_swap

if TYPE_CHECKING:
    from parambak.answers.session import Session
    from parambak.keeping.state.model import Position
    from parambak.swap.swaps import Swap

TESTS = "function-tests"
CLOSE_ONE_WAY = Fault(
    "swap-close-one-way",
    CallRefused,
    "a swap is closed in emergency or abandoned, not both",
    "Give --emergency if the new card stays in service, --abandoned if it does not.",
)
TEST_SHAPE = Fault(
    "swap-test-shape",
    CallRefused,
    "a function test is given as NAME=passed or NAME=failed",
    "A remark may follow: NAME=passed: at 1310 rpm.",
)


class SwapCloseQuestion(Question["SwapCloseAnswer"], frozen=True):
    """The position, who tested and closes, and the function tests: NAME=passed, NAME=failed: why.

    `old_card_to` is where the old card goes. `accept` are conditions that are accepted unmet, for
    a `reason`. With `emergency` or `abandoned`, which need a `reason` too, the swap is closed with
    something missing, or removed.
    """

    where: str
    by: str
    tests: tuple[str, ...] = ()
    old_card_to: Literal["spare aboard", "ashore", "scrapped"] | None = None
    accept: tuple[str, ...] = ()
    emergency: bool = False
    abandoned: bool = False
    reason: str | None = None


class FunctionTestShown(Part, frozen=True):
    """A function test: passed or failed."""

    name: str
    result: str


class MissingShown(Part, frozen=True):
    """A condition that was missing when the swap was closed in emergency."""

    condition: str
    text: str


class SwapCloseAnswer(Answer, frozen=True):
    """How the swap ended: closed, emergency or abandoned; where its cards went.

    `missing` is what `due` asks for from now on. `tests` are those of this call, `functions` states
    which passed in all. `reads_taken_in` is how many read-backs became
    reads. `bytes_compared` is false where values of two layouts proved the contents. `deviations`
    states what was accepted in the swap, `fallback_plan` what was answered on how the old card is
    fitted again, null where nothing was.
    """

    where: str
    outcome: str
    missing: tuple[MissingShown, ...]
    reads_taken_in: int
    tests: tuple[FunctionTestShown, ...]
    functions: str | None
    bytes_compared: bool
    cards: tuple[str, ...]
    deviations: tuple[str, ...]
    fallback_plan: str | None


def answer(session: Session, question: SwapCloseQuestion) -> SwapCloseAnswer:
    """Close the swap or abandon it; raise NotProven where it cannot be closed yet.

    Function tests that are given go on record in any case.
    """
    if question.emergency and question.abandoned:
        raise CLOSE_ONE_WAY.error(expected="one of the two", found="both")
    tests = tuple(_test(text) for text in question.tests)
    swap = _at_work(session, question.where)
    fallback_plan = swap.answers.get("fallback-plan")
    closed = (_abandoned if question.abandoned else _closed)(session, question, tests)
    site = recording.site_of(session.fleet(), question.where)
    swaps = swaps_at(session.vault, site.vessel, site.position)
    ended = next(one for one in swaps if one.id == swap.id)
    session.note(
        *closed.notes,
        *others_words([other for other in swaps if other.end is None]),
        *(_newest(session, site.position) if not question.abandoned else ()),
    )
    return SwapCloseAnswer(
        where=closed.position.where,
        outcome=closed.outcome,
        missing=tuple(
            MissingShown(entry.condition, entry.text)
            for entry in closed.conditions
            if entry.missing
        ),
        reads_taken_in=closed.reads,
        tests=tuple(FunctionTestShown(test.name, test.result) for test in tests),
        functions=next((e.text for e in closed.conditions if e.condition == TESTS), None),
        bytes_compared=closed.by_bytes,
        cards=closed.cards,
        deviations=accepted_words(session.assessor, ended),
        fallback_plan=fallback_plan.text if fallback_plan is not None else None,
    )


def needs_old_card(session: Session, where: str) -> bool:
    """Return whether a person is to be asked where the old card goes.

    Raise NotFound without a swap at work.
    """
    return not any(end.old_card_to for end in _at_work(session, where).ends)


def _at_work(session: Session, where: str) -> Swap:
    site = recording.site_of(session.fleet(), where)
    return the_open_swap(session.vault, site.vessel, site.position)


def _closed(
    session: Session, question: SwapCloseQuestion, tests: tuple[FunctionTest, ...]
) -> Closed:
    return ending.close(
        session.assessor,
        question.where,
        Ending(
            by=question.by,
            reason=question.reason,
            given=GivenNow(tests, question.old_card_to),
            acceptance=accepted_now(question.where, question.accept, question.reason, question.by),
            emergency=question.emergency,
        ),
    )


def _abandoned(
    session: Session, question: SwapCloseQuestion, tests: tuple[FunctionTest, ...]
) -> Closed:
    by, reason = question.by, question.reason
    position = ending.abandon(session.assessor, question.where, tests=tests, by=by, reason=reason)
    return Closed(position, ABANDONED, 0, by_bytes=False, cards=(), notes=(), conditions=())


def _newest(session: Session, position: Position) -> tuple[str, ...]:
    """State that the newest copy is not verified, if it is not."""
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
