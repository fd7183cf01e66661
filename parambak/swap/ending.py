"""The end of a swap on record: closed, closed in emergency, or abandoned."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotProven, SheetRefused, VaultDamaged
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import conditions
from parambak.keeping.state.bodies import CorrectBody, SwapClosedBody, SwapTestedBody
from parambak.keeping.state.cards import IN_A_UNIT, unit_of
from parambak.keeping.state.closing import test_key
from parambak.keeping.state.fold import fleet
from parambak.swap.closing import GivenNow
from parambak.swap.guard import NOTHING_ACCEPTED, SWAP_NOT_FINISHED, cleared, refusal
from parambak.swap.recording import add_step, open_at
from parambak.swap.state import swap_state
from parambak.swap.swap_cards import Named, also_in
from parambak.swap.swaps import ABANDONED, CLOSED, EMERGENCY
from parambak.swap.unsettled import refuse_unsettled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.assess import Assessor
    from parambak.keeping.state.bodies import ConditionEntry, Facts, FunctionTest
    from parambak.keeping.state.model import Condition, Position
    from parambak.swap.guard import Acceptance, Cleared
    from parambak.swap.recording import Site
    from parambak.swap.swaps import Swap
    from parambak.vault.vault import Writing

SWAP_TEST_TWICE = Fault(
    "swap-test-twice",
    CallRefused,
    "one function test has two results in one call",
    "Give each test once, with the result of the last time.",
)
SWAP_ABANDON_WHY = Fault(
    "swap-abandoned-why",
    CallRefused,
    "abandoning a swap needs a reason",
    "Give it with --reason.",
)
SWAP_EMERGENCY_WHY = Fault(
    "swap-emergency-why",
    CallRefused,
    "closing a swap in emergency needs a reason",
    "Give it with --reason.",
)
SWAP_NO_EMERGENCY = Fault(
    "swap-no-emergency",
    NotProven,
    "the swap stays open: no emergency closes it with this missing: {missing}",
    "Do this first, or abandon the swap. {steps}",
)


@dataclass(frozen=True)
class Ending:
    """How a swap is to end: who ends it, why, what is stated and accepted in this call."""

    by: str
    reason: str | None = None
    given: GivenNow = GivenNow()  # noqa: RUF009 - a tuple
    acceptance: Acceptance = NOTHING_ACCEPTED
    emergency: bool = False


class Closed(NamedTuple):
    """A swap that was closed.

    `reads` counts the read-backs that became reads. `by_bytes`: the read-backs prove it by
    bytes, not by values alone. `cards` are where the cards went, `notes` what is left open.
    `conditions` are those at that moment.
    """

    position: Position
    outcome: str
    reads: int
    by_bytes: bool
    cards: tuple[str, ...]
    notes: tuple[str, ...]
    conditions: tuple[ConditionEntry, ...]


def close(assessor: Assessor, where: str, ending: Ending) -> Closed:
    """Close the swap at work; return its position, what became a read, and where the cards went.

    Raise VaultDamaged if a record is lost, NotProven if a required condition is neither met nor
    accepted; the function tests that were given go on record all the same. In emergency some may
    be missing: `due` asks for them.
    """
    vault, tests = assessor.vault, ending.given.tests
    _check(tests, ending.by, ending.reason)
    if ending.emergency and not ending.reason:
        raise SWAP_EMERGENCY_WHY.error(expected="--reason TEXT", found="none")
    with vault.writing() as writing:
        site, swap = open_at(vault, where)
        refuse_unsettled(site.vessel, site.position, swap)
        state = swap_state(fleet(vault), assessor, where, loaded=True, now=ending.given)
        step = cleared(state, ending.acceptance, closing=True)
        missing = _hopeless(step) if ending.emergency else step.readiness.unmet
        if missing:
            if tests:
                add_step(writing, swap, SwapTestedBody(swap=swap.id, tests=tests), ending.by)
            fault = SWAP_NO_EMERGENCY if ending.emergency else SWAP_NOT_FINISHED
            kept = ("The function tests of this call are on record.",) if tests else ()
            raise refusal(state, missing, fault, *kept)
        step.put(writing, ending.acceptance)
        return _closed(writing, site, swap, step, ending)


def _hopeless(step: Cleared) -> tuple[Condition, ...]:
    """Return what is missing that no emergency can do without.

    A read-back or a test that was not made may be missing; one that failed may not, nor the copy
    itself, nor where the old card goes.
    """
    at_close = {c.name for c in conditions.CONDITIONS if c.to_close} - {"old-card-state"}
    return tuple(
        condition
        for condition in step.readiness.unmet
        if condition.condition in conditions.always()
        and not (condition.condition in at_close and condition.met is None)
    )


def _closed(writing: Writing, site: Site, swap: Swap, step: Cleared, ending: Ending) -> Closed:
    """Put the end on record, and where the cards are."""
    readiness = step.readiness
    taken_in = {record for end in swap.ends for record in end.taken_in}
    proof = tuple(read_back for read_back in swap.proof if read_back.record not in taken_in)
    cards: tuple[str, ...] = ()
    if ending.given.old_card_to is not None:
        cards = _move_cards(writing, site, swap, ending.given.old_card_to, ending.by)
    body = SwapClosedBody(
        swap=swap.id,
        outcome=CLOSED if readiness.ready else EMERGENCY,
        reason=ending.reason,
        tests=ending.given.tests,
        taken_in=tuple(read_back.record for read_back in proof),
        old_card_to=ending.given.old_card_to,
        conditions=readiness.entries,
    )
    add_step(writing, swap, body, ending.by, *(step.body.image.sha256 for step in proof))
    named = Named(swap.body.old_card, swap.body.new_card)
    notes = also_in(site.vessel, site.unit, named) if swap.body.new_card else ()
    by_bytes = bool(swap.proof) and not any(step.body.by_values for step in swap.proof)
    return Closed(site.position, body.outcome, len(proof), by_bytes, cards, notes, body.conditions)


def abandon(
    assessor: Assessor, where: str, *, tests: Sequence[FunctionTest], by: str, reason: str | None
) -> Position:
    """Abandon the swap at work, for a reason; no read-back becomes a read.

    The conditions at that moment are kept with it, if they can be worked out.
    """
    _check(tests, by, reason)
    if not reason:
        raise SWAP_ABANDON_WHY.error(expected="--reason TEXT", found="none")
    vault = assessor.vault
    with vault.writing() as writing:
        site, swap = open_at(vault, where)
        entries: tuple[ConditionEntry, ...] = ()
        with suppress(SheetRefused, VaultDamaged):
            entries = swap_state(fleet(vault), assessor, where, loaded=True).readiness().entries
        body = SwapClosedBody(
            swap=swap.id,
            outcome=ABANDONED,
            reason=reason,
            tests=tuple(tests),
            conditions=entries,
        )
        add_step(writing, swap, body, by)
    return site.position


def _check(tests: Sequence[FunctionTest], by: str, reason: str | None) -> None:
    texts = [("name of the test", test.name, NAME) for test in tests]
    texts += [("result of the test", test.text or "", REMARK) for test in tests]
    check_texts([*texts, ("name of the person", by, NAME), ("reason", reason, REMARK)])
    seen: set[str] = set()
    for test in tests:
        if test_key(test.name) in seen:
            raise SWAP_TEST_TWICE.error(expected="each test once", found=test.name[:80])
        seen.add(test_key(test.name))


def _move_cards(
    writing: Writing, site: Site, swap: Swap, old_card_to: str, by: str
) -> tuple[str, ...]:
    """Put the location of both cards on record; return where they went, in words.

    An old card that was fitted in another unit since the opening stays on record site.
    """
    moves: list[tuple[str, str | None, Facts]] = [
        ("old card", swap.body.old_card, {"location": old_card_to, "unit": ""}),
        ("new card", swap.body.new_card, {"location": IN_A_UNIT, "unit": site.unit.short}),
    ]
    words = []
    for what, identity, facts in moves:
        card = next((card for card in site.vessel.cards if identity in card.ids), None)
        if card is None:
            continue
        since = unit_of(site.vessel, card)
        if what == "old card" and since is not None and since is not site.unit:
            words.append(f"old card {card.serial}: stays on record in {since.where}")
            continue
        for card_id in sorted(card.ids):
            body = CorrectBody(what="card", id=card_id, facts=facts, why="swap closed")
            mark = writing.person(by, site.vessel.home(card_id))
            writing.add(body.kind, site.vessel.home(card_id), body.members(), by=mark)
        now = f"in {site.unit.where}" if facts["unit"] else str(facts["location"])
        words.append(f"{what} {card.serial}: {now}")
    return tuple(words)
