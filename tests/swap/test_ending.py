"""The end of a swap: in emergency and unfinished, the function tests, the old card's location."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from parambak.errors import CallRefused
from parambak.keeping.assess import Assessor
from parambak.keeping.state.bodies import ConditionEntry, FunctionTest, SwapOpenedBody
from parambak.swap import ending
from parambak.swap.closing import GivenNow, closing_of
from parambak.swap.function_tests import results
from parambak.swap.state import accepted_words, emergency_words
from parambak.swap.swaps import (
    CLOSED,
    EMERGENCY,
    End,
    Step,
    Swap,
    ended_words,
    swaps_at,
    unfinished_swaps,
)
from tests.keeping.conftest import CHIPS, LAYOUT, WHERE, image
from tests.swap.conftest import PASSED, abandoned, closed, newest, opened, read_back

if TYPE_CHECKING:
    from parambak.keeping.state.model import Position
    from tests.keeping.conftest import Laptop

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
STARBOARD = "grebe/stbd-thruster/U12"


def end(outcome: str = EMERGENCY, old_card_to: str | None = None, *missing: str) -> End:
    """Return an end of a swap, with these conditions missing then."""
    entries = tuple(
        ConditionEntry(condition=name, text="x", met=None, required=True) for name in missing
    )
    return End("e", None, NOON, outcome, "at sea", (), (), old_card_to, entries)


def swap(*ends: End) -> Swap:
    """Return a swap with these ends, oldest first."""
    body = SwapOpenedBody(swap="s", position="p", route="load", why="x")
    return Swap("s", "v", Step("r", None, NOON), body, ends=list(ends))


# --- in emergency ---


@pytest.mark.parametrize("reason", [None, ""])
def test_no_swap_is_closed_in_emergency_without_a_reason(
    laptop: Laptop, reason: str | None
) -> None:
    """It stays open, and nothing is on record of it."""
    opened(laptop)
    before = laptop.tree()
    given = GivenNow(PASSED, "ashore")
    how = ending.Ending("A. Invented", reason, given, emergency=True)
    with pytest.raises(CallRefused) as refusal:
        ending.close(Assessor(laptop.vault, CHIPS), WHERE, how)
    assert refusal.value.code == "swap-emergency-why"
    assert (refusal.value.expected, refusal.value.found) == ("--reason TEXT", "none")
    assert laptop.tree() == before
    assert newest(laptop).end is None


def test_an_end_in_emergency_keeps_what_was_missing_and_proves_nothing(laptop: Laptop) -> None:
    """No read-back was made: it is not proven by bytes, and the old card's location stays."""
    opened(laptop)
    answer = closed(laptop, emergency=True, old_card_to="left ashore")
    assert (answer.outcome, answer.reads, answer.by_bytes) == (EMERGENCY, 0, False)
    now = newest(laptop)
    assert now.end is not None
    assert now.end.old_card_to == "left ashore"
    assert "contents-proven" in now.end.missing
    (*_, words) = accepted_words(Assessor(laptop.vault, CHIPS), now)
    assert words.startswith("CLOSED IN EMERGENCY: accepted at sea (A. Invented, 2026-03-01 ")
    assert words.endswith(f"; missing then: {', '.join(now.end.missing)}")


def test_an_end_with_nothing_missing_states_so(laptop: Laptop) -> None:
    """Each name that was missing is listed; without one, the word is nothing."""
    assessor = Assessor(laptop.vault, CHIPS)
    assert emergency_words(assessor, end()).endswith("; missing then: nothing")
    both = end(EMERGENCY, None, "contents-proven", "permit")
    assert emergency_words(assessor, both).endswith("; missing then: contents-proven, permit")


def test_a_swap_stays_unfinished_at_its_own_position_until_it_is_closed(laptop: Laptop) -> None:
    """A closed swap at another position finishes nothing, nor does one that is abandoned."""
    laptop.take(image(3), where=STARBOARD, layout=LAYOUT, chip="T256")
    assert unfinished(laptop) == {}
    opened(laptop)
    assert unfinished(laptop) == {}
    closed(laptop, emergency=True)
    here, there = laptop.position(), laptop.position(STARBOARD)
    assert unfinished(laptop) == {here.id: last_at(laptop, here).id}
    opened(laptop, STARBOARD)
    abandoned(laptop, STARBOARD)
    opened(laptop, STARBOARD)
    assert last_at(laptop, there).end is None
    assert unfinished(laptop) == {here.id: last_at(laptop, here).id}
    read_back(laptop, image(), 2)
    closed(laptop)
    assert unfinished(laptop) == {}


def unfinished(laptop: Laptop) -> dict[str, str]:
    """Return the identity of the unfinished swap of each position that has one."""
    swaps = unfinished_swaps(laptop.vault, laptop.fleet.vessels[0])
    return {position: swap.id for position, swap in swaps.items()}


def last_at(laptop: Laptop, position: Position) -> Swap:
    """Return the swap that was opened last at a position."""
    return swaps_at(laptop.vault, laptop.fleet.vessels[0], position)[-1]


def test_two_laptops_are_named_only_if_both_ended_it() -> None:
    """An end in emergency and a later one are of one swap, and need no second laptop."""
    assert ended_words(swap(end(CLOSED))) == "the last one was closed on 2026-03-01"
    assert not ended_words(swap(end(), end(CLOSED))).endswith("by two laptops")
    assert ended_words(swap(end(CLOSED), end(CLOSED))).endswith(", by two laptops")


# --- the old card, and the function tests ---


def test_the_old_card_is_where_it_was_stated_last() -> None:
    """In this call, else at the newest end that states it; nowhere if none does."""
    twice = swap(end(old_card_to="ashore"), end(old_card_to="store"), end())
    assert closing_of(twice, (), GivenNow()).old_card_to == "store"
    assert closing_of(twice, (), GivenNow((), "bin")).old_card_to == "bin"
    assert closing_of(swap(end()), (), GivenNow()).old_card_to is None


def test_the_record_of_a_moved_card_is_about_a_card(laptop: Laptop) -> None:
    """Both cards, the one that went out and the one that went in."""
    opened(laptop, old_card="PC-1", new_card="PC-2")
    read_back(laptop, image(), 2)
    closed(laptop)
    (vessel,) = laptop.vault.vessels()
    records = [stored.record for stored in laptop.vault.records(vessel)]
    moved = [record.body for record in records if record.body.get("why") == "swap closed"]
    assert [body["what"] for body in moved] == ["card", "card"]


@pytest.mark.parametrize(
    ("after", "later", "failed"),
    [
        ({"second": ["first"]}, "stop", ()),
        ({"second": ["first"]}, "STOP", ()),
        ({"second": ["first"]}, "horn", ("stop",)),
        ({"first": ["second"]}, "stop", ("stop",)),
        ({}, "stop", ("stop",)),
    ],
)
def test_only_a_later_pass_of_the_same_test_settles_a_failure(
    after: dict[str, list[str]], later: str, failed: tuple[str, ...]
) -> None:
    """An earlier pass, one of another test, or one of a laptop that did not know: none does."""
    tests = [
        ("first", FunctionTest(name="stop", result="failed")),
        ("second", FunctionTest(name=later, result="passed")),
    ]
    order = {"load": [], "first": ["load"], "second": ["load"]}
    for record, earlier in after.items():
        order[record] = [*order[record], *earlier]
    passed, still_failed = results(tests, {"load"}, order)
    assert still_failed == failed
    assert passed == ((later,) if later == "horn" or not failed else ())
