"""May the swap begin: what is missing, what is accepted, and the cautions."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from parambak.keeping.recording.texts import REMARK
from parambak.keeping.state.bodies import ConditionEntry
from parambak.keeping.state.conditions import CONDITIONS, OPEN, SwapEvidence
from parambak.keeping.state.model import Condition
from parambak.keeping.state.rules import Rules
from parambak.swap.readiness import CAUTIONS, Readiness, readiness
from parambak.swap.swaps import Deviation

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


def test_an_acceptance_counts_while_the_evidence_is_the_same() -> None:
    """On other words, of another condition, or once it is met, it counts no more."""
    text = "no copy of this position is in the vault"
    long = Condition.no("copy", "x" * (REMARK + 1))
    for condition, name, accepted_text, counts in (
        (Condition.no("copy", text), "copy", text, True),
        (Condition.no("copy", text), "copy", "the copy was moved", False),
        (Condition.no("copy", text), "stable", text, False),
        (Condition.yes("copy", text), "copy", text, False),
        (long, "copy", long.text[:REMARK], True),
    ):
        deviation = Deviation(
            "r", None, datetime(2026, 3, 1, tzinfo=UTC), name, accepted_text, "at sea"
        )
        now = Readiness((condition,), frozenset({"copy"}), (deviation,))
        assert now.counts(deviation) is counts
        assert now.ready is (counts or condition.met is True)


def test_what_an_open_swap_requires_is_listed_before_it_is_open() -> None:
    """Each question to a person: it is not required yet, and will be."""
    asked = {condition.name for condition in CONDITIONS if condition.required is OPEN}
    before = without_copy()
    assert not before.required & asked
    assert before.required_when_open == before.required | asked
    answered = SwapEvidence(copy=None, verdict=None, records=COMPLETE, answers={})
    assert readiness(answered).required == before.required_when_open
