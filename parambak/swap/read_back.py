"""Is the card loaded correctly? What was read from it, against the copy that was meant.

Before power-up nothing may differ. After it, bytes of fields that the layout
declares expected to change or live are told apart, and do not fail it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parambak.compare.bytes import Run, runs
from parambak.compare.fields import beyond

if TYPE_CHECKING:
    from collections.abc import Mapping

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
    against: list[Run] = []
    expected: list[Run] = []
    for run in runs(meant, read):
        for part in _split(run, masks):
            (against if beyond(part, masks) else expected).append(part)
    return ReadBack(stage, tuple(against), tuple(expected))


def _split(run: Run, masks: Mapping[int, int]) -> list[Run]:
    """Split a run where bytes that may change meet bytes that may not."""
    if len(run.old) != len(run.new) or not masks:
        return [run]
    parts: list[Run] = []
    for offset in range(run.length):
        one = Run(run.start + offset, run.old[offset : offset + 1], run.new[offset : offset + 1])
        if parts and beyond(parts[-1], masks) == beyond(one, masks):
            parts[-1] = Run(parts[-1].start, parts[-1].old + one.old, parts[-1].new + one.new)
        else:
            parts.append(one)
    return parts
