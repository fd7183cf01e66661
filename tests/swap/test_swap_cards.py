"""The cards of a swap, held against the other swaps that are open."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from parambak.errors import CallRefused
from parambak.keeping.state.bodies import SwapOpenedBody
from parambak.swap.swap_cards import Named, refuse_taken
from parambak.swap.swaps import Step, Swap

CARD: Any = SimpleNamespace(ids=frozenset({"c2", "c3"}), serial="S-2")
OTHER: Any = SimpleNamespace(ids=frozenset({"c9"}), serial="S-9")
VESSEL: Any = SimpleNamespace(cards=(OTHER, CARD), units=())


def opened(**cards: Any) -> Swap:
    """Return an open swap that names these cards."""
    body = SwapOpenedBody(swap="s", position="p", route="load", why="x", **cards)
    return Swap("s", "v", Step("r", None, datetime(2026, 3, 1, tzinfo=UTC)), body)


@pytest.mark.parametrize(
    ("there", "here", "expected"),
    [
        ({"new_card": "c2"}, Named(None, "c3"), "a card that goes into one unit"),
        ({"old_card": "c3"}, Named("c2", None), "a card that comes out of one unit"),
    ],
)
def test_one_card_in_two_open_swaps_is_refused(
    there: dict[str, str], here: Named, expected: str
) -> None:
    """Two identities of it, as two laptops enter them, are one card; its serial is named."""
    with pytest.raises(CallRefused) as caught:
        refuse_taken(VESSEL, [opened(**there)], here)
    assert caught.value.code == "swap-card-taken"
    assert caught.value.expected == expected
    assert caught.value.found == "card S-2, at another position"


def test_another_card_is_not_refused() -> None:
    """Neither one that is on record nor one that is not."""
    refuse_taken(VESSEL, [opened(new_card="c2"), opened(old_card="c3")], Named("c9", "c9"))
    refuse_taken(VESSEL, [opened(new_card="c7")], Named(None, "c2"))
    with pytest.raises(CallRefused):
        refuse_taken(VESSEL, [opened(new_card="c7")], Named(None, "c7"))
