"""Cards in a swap: one in two swaps, fitted elsewhere meanwhile, crossed over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.cli.invented import MEMORY, archive_two, dump
from tests.cli.test_swap_course import AT, BY, TOLD, code, read_backs, ready
from tests.cli.test_swap_trouble import (
    LOAD,
    OTHER,
    PASSED,
    said,
    sister,
)

if TYPE_CHECKING:
    from tests.cli.conftest import Ship


@pytest.fixture
def verified(ship: Ship) -> Ship:
    """Return a ship with a verified copy."""
    archive_two(ship)
    return ship


def test_a_card_in_two_open_swaps_is_refused_or_told(verified: Ship) -> None:
    """One card comes out of one unit and goes into one; from one to the other it is stated."""
    sister(verified)
    words = (*BY, "--reason", "dead")
    cards = ("--old-card", "C1", "--new-card-serial", "C2")
    assert verified.run("swap", "open", OTHER, *words, *cards).code == 0
    before = verified.tree()
    for taken in (("--old-card", "c1"), ("--new-card-serial", "C2")):
        refused = verified.answer("swap", "open", AT, *words, *taken)
        assert (refused.code, code(refused)) == (2, "swap-card-taken")
    assert verified.tree() == before
    crossed = verified.run("swap", "open", AT, *words, "--new-card-serial", "C1")
    assert crossed.code == 0
    assert "C1 goes in here, and comes out at grebe/stbd/U1" in said(crossed)


def test_a_card_fitted_elsewhere_meanwhile_stays_on_record_there(verified: Ship) -> None:
    """It is not sent ashore by the swap that it came out of."""
    memory = sister(verified)
    words = (*BY, "--reason", "dead")
    verified.run("swap", "open", OTHER, *words, "--old-card", "C1", "--new-card-serial", "C2")
    answers = [f"{name}=yes: seen to" for name in TOLD]
    verified.run("swap", "answer", OTHER, *answers, *BY)
    ready(verified, "--new-card-serial", "C1")
    read_backs(verified, MEMORY, MEMORY)
    read_backs(verified, MEMORY, stage="after-power", at=20)
    assert verified.run("swap", "close", AT, *PASSED).code == 0
    names = [verified.write(f"o{n}.hex", dump(memory), second=90 + n) for n in range(2)]
    verified.run("swap", "read-back", OTHER, *names)
    powered = verified.write("o3.hex", dump(memory), second=95)
    verified.run("swap", "read-back", OTHER, powered, "--stage", "after-power")
    closed = verified.answer("swap", "close", OTHER, *PASSED)
    assert closed.document["cards"] == [
        "old card C1: stays on record in grebe/port-thruster",
        "new card C2: in grebe/stbd",
    ]
    listed = {c["serial"]: c["unit"] for c in verified.answer("card", "list").document["cards"]}
    assert listed == {"C1": "grebe/port-thruster", "C2": "grebe/stbd"}


def test_a_card_that_is_on_record_elsewhere_is_told(verified: Ship) -> None:
    """As the old card it should be here, as the new one nowhere in use and not scrapped."""
    sister(verified)
    words = (*BY, "--reason", "dead")
    verified.run("swap", "open", OTHER, *words, "--old-card", "C1")
    verified.run("swap", "close", OTHER, *BY, "--abandoned", "--reason", "not that one")
    elsewhere = verified.run("swap", "open", AT, *words, "--old-card", "C1")
    assert "the old card, C1, is on record in grebe/stbd" in said(elsewhere)
    verified.run("swap", "close", AT, *BY, "--abandoned", "--reason", "not that one")
    verified.run("card", "add", "grebe", "C9", "--location", "scrapped")
    scrapped = verified.run("swap", "open", AT, *words, "--new-card-serial", "C9")
    assert "the new card, C9, is on record scrapped" in said(scrapped)


def test_cards_that_are_exchanged_are_told_at_every_step(verified: Ship) -> None:
    """The chip here carries the other unit's parameters."""
    sister(verified)
    units = ("grebe/port-thruster", "grebe/stbd")
    assert verified.run("card", "cross-over", *units, *BY, "--reason", "fault").code == 0
    assert "CROSSED OVER" in verified.run("swap", "open", AT, *BY, "--reason", "x").err
    answers = [f"{name}=yes: seen to" for name in TOLD]
    verified.run("swap", "answer", AT, *answers, *BY)
    back = ("swap", "read-back", AT, verified.write("c.hex", dump(), second=95))
    for words in (("swap", "check", AT), LOAD, back):
        assert "CROSSED OVER" in verified.run(*words).err
