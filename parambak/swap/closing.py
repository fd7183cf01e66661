"""What is on record of a swap between loading and closing, as evidence for its conditions."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.keeping.state.closing import Closing, test_key
from parambak.keeping.verified import separate_reads
from parambak.memory.counted import counted
from parambak.swap.function_tests import with_given
from parambak.swap.read_back import AFTER_POWER, BEFORE_POWER

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from parambak.keeping.state.bodies import FunctionTest
    from parambak.swap.swaps import ReadBackStep, Swap


class GivenNow(NamedTuple):
    """What is stated in the call that closes a swap: function tests, the old card's location."""

    tests: tuple[FunctionTest, ...] = ()
    old_card_to: str | None = None


def closing_of(swap: Swap, listed: Iterable[str], given: GivenNow) -> Closing:
    """Return the evidence; `listed` are the function tests that are required here."""
    passed, failed = with_given(swap.passed, swap.failed, given.tests)
    stated = (end.old_card_to for end in reversed(swap.ends) if end.old_card_to)
    return Closing(
        contents=_contents(swap),
        before_power=_before_power(swap),
        after_power=_after_power(swap),
        passed=passed,
        failed=failed,
        listed=tuple({test_key(test): test for test in listed}.values()),
        old_card_to=given.old_card_to or next(stated, None),
    )


def _contents(swap: Swap) -> tuple[bool | None, str]:
    if swap.unproven is None:
        return True, "two separate read-backs match the selected copy"
    wrong = bool(swap.read_backs) and not swap.read_backs[-1].body.loaded_correctly
    return False if wrong else None, swap.unproven


def _before_power(swap: Swap) -> tuple[bool | None, str]:
    reads = _of_stage(swap.good, BEFORE_POWER)
    if not reads:
        return None, "no read-back before power of the card as it is now"
    return True, f"{counted(separate_reads(reads), 'read')} before power, loaded correctly"


def _after_power(swap: Swap) -> tuple[bool | None, str]:
    """Return whether a read-back after power is later than the last one before it."""
    before = _of_stage(swap.good, BEFORE_POWER)
    since = swap.good[swap.good.index(before[-1]) :] if before else swap.good
    reads = _of_stage(since, AFTER_POWER)
    if not reads:
        return None, "no read-back after power of the card as it is now"
    separate = separate_reads([*before, *reads]) - (separate_reads(before) if before else 0)
    if separate < 1:
        return None, (
            "the read-back after power is the same file as the one before power, or has exactly "
            "its time: read the chip again with power on"
        )
    return True, f"{counted(separate, 'read')} after power, loaded correctly"


def _of_stage(steps: Sequence[ReadBackStep], stage: str) -> list[ReadBackStep]:
    return [step for step in steps if step.body.stage == stage]
