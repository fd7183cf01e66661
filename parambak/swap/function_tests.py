"""Function tests of a swap: which passed since the card was loaded, and which failed since."""

from __future__ import annotations

from typing import TYPE_CHECKING

from parambak.keeping.state.closing import test_key
from parambak.vault.order import behind

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from parambak.keeping.state.bodies import FunctionTest

PASSED, FAILED = RESULTS = ("passed", "failed")


def results(
    tests: Sequence[tuple[str, FunctionTest]],
    loads: Collection[str],
    after: Mapping[str, Sequence[str]],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the names of the tests that passed, and of those that failed and did not pass later.

    Each test comes with its record, and `after` gives what each record is after. A pass counts if
    it is after all `loads`: the read-backs with power off, or of a card that was wrong. Without
    any, no card was loaded that a test could be of. It settles a failure of the same test only if
    it is after it.
    """
    before = {record: behind([record], after) - {record} for record, _ in tests}
    passes = [(test_key(test.name), record) for record, test in tests if test.result == PASSED]
    passed: dict[str, str] = {}
    failed: dict[str, str] = {}
    for record, test in tests:
        key = test_key(test.name)
        if test.result == PASSED:
            if loads and before[record].issuperset(loads):
                passed[key] = test.name
        elif not any(key == other and record in before[later] for other, later in passes):
            failed[key] = test.name
    return tuple(n for key, n in passed.items() if key not in failed), tuple(failed.values())


def with_given(
    passed: Sequence[str], failed: Sequence[str], given: Sequence[FunctionTest]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the same with the tests that are given now, after all others."""
    now = {test_key(test.name) for test in given}
    still = [[name for name in names if test_key(name) not in now] for names in (passed, failed)]
    for names, result in zip(still, RESULTS, strict=True):
        names += [test.name for test in given if test.result == result]
    return tuple(still[0]), tuple(still[1])
