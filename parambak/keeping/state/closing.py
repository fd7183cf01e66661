"""What a swap needs between loading and closing: read-backs, function tests, the old card's state.

Pure: what is on record in, a condition out.
"""

from __future__ import annotations

from typing import NamedTuple

from parambak.keeping.state.model import Condition


class Closing(NamedTuple):
    """What is on record of the work between loading and closing.

    `contents`, `before_power` and `after_power` are whether the read-backs show it, and why.
    `listed` are the function tests that the ship's rules and the unit's card sheet require;
    `passed` those that passed, `failed` those that failed and did not pass later.
    """

    contents: tuple[bool | None, str]
    before_power: tuple[bool | None, str]
    after_power: tuple[bool | None, str]
    passed: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()
    listed: tuple[str, ...] = ()
    old_card_to: str | None = None


def test_key(name: str) -> str:
    """Return what two spellings of one function test share: case and spaces do not count."""
    return " ".join(name.split()).casefold()


def contents_proven(name: str, closing: Closing) -> Condition:
    """Return whether the read-backs prove that the card holds the selected copy."""
    return Condition(name, *closing.contents)


def before_power(name: str, closing: Closing) -> Condition:
    """Return whether the card was read back before power-up."""
    return Condition(name, *closing.before_power)


def after_power(name: str, closing: Closing) -> Condition:
    """Return whether the card was read back after power-up."""
    return Condition(name, *closing.after_power)


def function_tests(name: str, closing: Closing) -> Condition:
    """Return whether a function test passed, and each that failed passed later."""
    if closing.failed:
        listed = ", ".join(closing.failed)
        return Condition.no(name, f"failed, and did not pass since: {listed}")
    if not closing.passed:
        return Condition.unknown(name, "no function test passed since the card was loaded")
    return Condition.yes(name, f"passed: {', '.join(closing.passed)}")


def listed_tests(name: str, closing: Closing) -> Condition:
    """Return whether each listed test passed."""
    passed = {test_key(test) for test in closing.passed}
    missing = [test for test in closing.listed if test_key(test) not in passed]
    if missing:
        return Condition.unknown(
            name, f"not passed since the card was loaded: {', '.join(missing)}"
        )
    if not closing.listed:
        return Condition.yes(name, "neither the ship's rules nor the unit's card sheet list a test")
    return Condition.yes(name, f"passed: {', '.join(closing.listed)}")


def old_card_state(name: str, closing: Closing) -> Condition:
    """Return whether it is stated where the old card goes."""
    if closing.old_card_to is None:
        return Condition.unknown(name, "it is not stated where the old card goes")
    return Condition.yes(name, f"the old card: {closing.old_card_to}")
