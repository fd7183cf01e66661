"""What is required and not met refuses, whatever the command; what ends a swap, and what not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused, NotProven
from parambak.keeping.assess import Assessor
from parambak.keeping.state.bodies import FunctionTest
from parambak.keeping.state.conditions import CONDITIONS, OPEN
from parambak.swap import ending, guard
from parambak.swap.closing import GivenNow, closing_of
from parambak.swap.function_tests import results
from parambak.swap.state import emergency_words, selected_copy, swap_state
from parambak.swap.swaps import swaps_at, unfinished_of, unfinished_swaps
from tests.keeping.conftest import CHIPS, WHERE, Laptop, image
from tests.swap.conftest import BY, PASSED, abandoned, accepted, closed, newest, opened, read_back

if TYPE_CHECKING:
    from parambak.swap.state import SwapState
    from parambak.swap.swaps import Swap

ASKED = [condition.name for condition in CONDITIONS if condition.required is OPEN]


def state_of(laptop: Laptop) -> SwapState:
    """Return the state of the open swap."""
    return swap_state(laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE)


def swaps_of(laptop: Laptop) -> tuple[Swap, ...]:
    """Return every swap at the position."""
    return swaps_at(laptop.vault, laptop.fleet.vessels[0], laptop.position())


def test_what_is_required_and_not_met_refuses(laptop: Laptop) -> None:
    """The refusal names each condition, what to do, and what is on record all the same."""
    opened(laptop)
    step = guard.cleared(state_of(laptop), guard.NOTHING_ACCEPTED)
    with pytest.raises(NotProven) as caught:
        guard.require(step)
    error = caught.value
    assert error.code == "swap-not-ready"
    assert set(ASKED) <= set(error.text.rpartition(": ")[2].split(", "))
    refused = guard.refusal(step.state, step.readiness.unmet, guard.SWAP_NOT_READY, "Kept.")
    assert "Kept." in str(vars(refused).values())


def test_the_steps_name_only_what_is_missing(laptop: Laptop) -> None:
    """What a person answers is one command; another has its own words; acceptance comes last."""
    opened(laptop)
    missing = guard.cleared(state_of(laptop), guard.NOTHING_ACCEPTED).readiness.unmet
    lines = guard.steps(WHERE, missing)
    assert lines[0].startswith("Record what a person knows: `parambak swap answer")
    assert all(f"'{name}=ANSWER: TEXT'" in lines[0] for name in ASKED)
    accept = f"`parambak swap check {WHERE} --accept {ASKED[0]} --by NAME --reason TEXT`"
    assert lines[1:] == (f"In an emergency, accept one that is not met: {accept}.",)
    assert guard.steps(WHERE, ()) == ()


def test_one_thing_is_accepted_at_a_time_and_in_an_open_swap(laptop: Laptop) -> None:
    """By name and reason; without a swap there is nothing to accept it for."""
    with pytest.raises(CallRefused, match="one condition at a time"):
        guard.accepted_now(WHERE, ("permit", "authorised"), "at sea", BY)
    with pytest.raises(Exception, match="no swap is open") as caught:
        guard.cleared(state_of(laptop), guard.Acceptance(("permit",), "at sea", BY))
    assert "an open swap" in str(vars(caught.value).values())


def test_an_acceptance_counts_while_the_evidence_is_the_same(laptop: Laptop) -> None:
    """And for its own condition alone."""
    opened(laptop)
    accepted(laptop, "permit")
    (deviation,) = newest(laptop).deviations
    readiness = state_of(laptop).readiness()
    assert readiness.counts(deviation)
    assert "permit" not in readiness.missing
    other = type(deviation)(
        deviation.record, BY, deviation.at, "permit", f"{deviation.text}.", "at sea"
    )
    assert not readiness.counts(other)


def test_an_emergency_needs_a_reason_and_is_unfinished_until_closed(laptop: Laptop) -> None:
    """It is named with what was missing; a later swap that is abandoned finishes nothing."""
    opened(laptop)
    with pytest.raises(CallRefused) as caught:
        closed(laptop, reason="", emergency=True)
    assert caught.value.code == "swap-emergency-why"
    assert unfinished_of(swaps_of(laptop)) is None
    vessel = laptop.fleet.vessels[0]
    assert unfinished_swaps(laptop.vault, vessel) == {}
    how = ending.Ending(
        BY,
        "at sea",
        GivenNow((), "ashore"),
        guard.Acceptance(("permit",), "at sea", BY),
        emergency=True,
    )
    ended = ending.close(Assessor(laptop.vault, CHIPS), WHERE, how)
    assert (ended.outcome, ended.by_bytes) == ("emergency", False)
    (swap,) = swaps_of(laptop)
    assert swap.end is not None
    assert "contents-proven" in swap.end.missing
    assert ", ".join(swap.end.missing) in emergency_words(Assessor(laptop.vault, CHIPS), swap.end)
    position = laptop.position()
    assert unfinished_swaps(laptop.vault, laptop.fleet.vessels[0]).keys() == {position.id}
    opened(laptop, why="again")
    abandoned(laptop)
    assert unfinished_of(swaps_of(laptop)) is not None


def test_the_end_that_stated_it_last_gives_where_the_old_card_is(laptop: Laptop) -> None:
    """Of an emergency that was finished later; what is stated now goes first."""
    opened(laptop)
    for place in ("ashore", "scrapped"):
        given = GivenNow((), place)
        how = ending.Ending(BY, "sea", given, emergency=True)
        ending.close(Assessor(laptop.vault, CHIPS), WHERE, how)
    (swap,) = swaps_of(laptop)
    assert closing_of(swap, (), GivenNow()).old_card_to == "scrapped"
    assert closing_of(swap, (), GivenNow((), "spare aboard")).old_card_to == "spare aboard"


def test_a_pass_settles_only_a_failure_before_it() -> None:
    """And counts only behind every loading; without one it is of no loaded card."""
    stop_failed = ("b", FunctionTest(name="stop", result="failed"))
    stop_passed = ("c", FunctionTest(name="stop", result="passed"))
    after = {"a": [], "b": ["a"], "c": ["b"], "d": ["c"]}
    assert results([stop_failed, stop_passed], {"a"}, after) == (("stop",), ())
    late = ("d", FunctionTest(name="stop", result="failed"))
    assert results([stop_passed, late], {"a"}, after) == ((), ("stop",))
    assert results([stop_passed], {"d"}, after) == ((), ())
    assert results([stop_passed], set(), after) == ((), ())


def test_a_closed_swap_states_whether_bytes_proved_it(laptop: Laptop) -> None:
    """Two read-backs that match do; and the copy that was released is the one compared."""
    opened(laptop)
    read_back(laptop, image(), 2)
    assert newest(laptop).read_backs[0].call == newest(laptop).read_backs[1].call
    state = swap_state(
        laptop.fleet, Assessor(laptop.vault, CHIPS), WHERE, loaded=True, now=GivenNow(PASSED)
    )
    assert selected_copy(state.position, state.swap, loaded=True) == laptop.latest()
    assert closed(laptop).by_bytes is True
