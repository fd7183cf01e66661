"""May the swap begin: what is missing, what is accepted, and the cautions."""

from __future__ import annotations

from typing import Any

from parambak.keeping.state.bodies import ConditionEntry
from parambak.keeping.state.conditions import SwapEvidence
from parambak.keeping.state.model import Condition
from parambak.keeping.state.rules import Rules
from parambak.swap.readiness import CAUTIONS, Readiness, readiness

NO_COPY = ("copy", "read-twice", "stable", "plausible", "checks-hold", "unchanged-on-disk")
COMPLETE = Condition.yes("records-complete", "every record is there")


def without_copy(**words: Any) -> Readiness:
    """Return the readiness of a position that has no copy, before a swap is open."""
    return readiness(SwapEvidence(copy=None, verdict=None, records=COMPLETE), **words)


def test_what_is_required_and_not_met_is_missing_and_marked() -> None:
    """Not met and not known are both missing, in the order of the work."""
    found = without_copy()
    assert not found.ready
    assert found.missing == NO_COPY
    listed = {entry.condition: entry for entry in found.entries}
    text = "no copy of this position is in the vault"
    assert listed["copy"] == ConditionEntry(condition="copy", text=text, met=False, required=True)
    assert (listed["read-twice"].met, listed["read-twice"].required) == (None, True)
    assert listed["permit"].required is False


def test_what_is_accepted_is_ready_in_that_call_alone() -> None:
    """What is accepted is still shown as not met."""
    assert without_copy(accepted=frozenset({"copy"})).missing == NO_COPY[1:]
    found = without_copy(accepted=frozenset(NO_COPY))
    assert found.ready
    assert [each.met for each in found.conditions if each.condition == "copy"] == [False]


def test_the_ships_rules_decide_what_is_required() -> None:
    """They can require more, and waive what can be waived."""
    rules = Rules(required=frozenset({"permit"}), waived=frozenset({"read-twice"}))
    assert without_copy(rules=rules).missing == ("copy", *NO_COPY[2:], "permit")


def test_the_cautions_say_what_the_tool_does_not_show() -> None:
    """Isolation, permit, static, the old card, tests, licensed practice, and bytes alone."""
    text = " ".join(CAUTIONS)
    for word in ("lock out", "permit", "static", "Label the old card", "Test every", "safe"):
        assert word in text
    assert CAUTIONS[-1] == ("Parambak compares bytes. It does not show that the unit is safe.")
