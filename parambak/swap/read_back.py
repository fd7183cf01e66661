"""Is the card loaded correctly? What was read from it, against the copy that was meant.

Before power-up nothing may differ. After it, bytes of fields that the layout
declares expected to change or live are told apart, and do not fail it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from parambak.compare.bytes import Run, beyond, runs

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from parambak.memory.image import Image

BEFORE_POWER = "before-power"
AFTER_POWER = "after-power"
STAGES = (BEFORE_POWER, AFTER_POWER)


@dataclass(frozen=True, slots=True)
class ReadBack:
    """The answer, with every run that differs, those that were expected apart."""

    stage: str
    differences: tuple[Run, ...]
    expected_differences: tuple[Run, ...]

    @property
    def loaded_correctly(self) -> bool:
        """Return whether nothing differs that may not."""
        return not self.differences


def compare(
    meant: Image, read: Image, stage: str, moving: Mapping[int, int] | None = None
) -> ReadBack:
    """Compare what was read from the card with the copy meant.

    `moving` gives for each address the bits that are expected to change; it
    counts only after power-up.
    """
    masks = (moving or {}) if stage == AFTER_POWER else {}
    found = runs(meant, read)
    if not masks:
        return ReadBack(stage, found, ())
    against: list[Run] = []
    expected: list[Run] = []
    for run in found:
        for part, fails in _split(run, masks):
            (against if fails else expected).append(part)
    return ReadBack(stage, tuple(against), tuple(expected))


def _split(run: Run, masks: Mapping[int, int]) -> Iterator[tuple[Run, bool]]:
    """Yield a run's parts, cut where bytes that may change meet bytes that may not."""
    if len(run.old) != len(run.new):
        yield run, True
        return
    failing = set(beyond(run, masks))
    for fails, group in groupby(range(run.start, run.range.end), lambda at: at in failing):
        addresses = list(group)
        low, high = addresses[0] - run.start, addresses[-1] + 1 - run.start
        yield Run(addresses[0], run.old[low:high], run.new[low:high]), fails
