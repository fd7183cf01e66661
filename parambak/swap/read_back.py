"""Is the card loaded correctly? The read-back is compared with the selected copy.

Before power-up nothing may differ. After it, bytes of fields that the layout declares running
or volatile are listed separately; they are no failure as long as every check of the layout
holds. If the card has other software with another layout, values are compared, not bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Any, Literal, get_args

from parambak.differences.bytes import Run, beyond, runs
from parambak.differences.two_layouts import carry_over
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from parambak.differences.two_layouts import CarryOver, NotCarried, Renames, ValueChange
    from parambak.layouts.decode import CheckResult, Decoded
    from parambak.memory.image import Image

Stage = Literal["before-power", "after-power"]
STAGES: tuple[Stage, ...] = get_args(Stage)
BEFORE_POWER, AFTER_POWER = STAGES
FEWEST = 4  # differing bytes: from here a match with another memory is no chance


@dataclass(frozen=True, slots=True)
class ReadBack:
    """The answer, with every run that differs, those of running fields separate.

    `failing` are checks of the layout that do not hold in the read-back: a block with changed
    running bytes must still fit its own check.
    """

    stage: str
    differences: tuple[Run, ...]
    running_differences: tuple[Run, ...]
    failing: tuple[CheckResult, ...] = ()

    @property
    def loaded_correctly(self) -> bool:
        """Return whether only running bytes differ, and every check holds."""
        return not (self.differences or self.failing)

    @property
    def counts(self) -> dict[str, Any]:
        """Return how much differs, under the names of the record."""
        return {
            "differing_bytes": sum(run.length for run in self.differences),
            "running_bytes": sum(run.length for run in self.running_differences),
        }


@dataclass(frozen=True, slots=True)
class ValuesReadBack:
    """The answer by values of two layouts, without a comparison of bytes.

    `failing` are checks of the new layout that do not hold in the read-back.
    """

    stage: str
    carried: CarryOver
    failing: tuple[CheckResult, ...]

    @property
    def differences(self) -> tuple[ValueChange, ...]:
        """Return the values that changed and must not change."""
        return tuple(change for change in self.carried.changed if not self._may(change))

    @property
    def running_differences(self) -> tuple[ValueChange, ...]:
        """Return the values that changed and may change."""
        return tuple(change for change in self.carried.changed if self._may(change))

    @property
    def lost(self) -> tuple[NotCarried, ...]:
        """Return the old values that were not carried over, except those left out on purpose.

        A field that only the new layout has holds no old value.
        """
        return tuple(
            value
            for value in self.carried.not_carried
            if value.old_field is not None and not value.excused
        )

    @property
    def loaded_correctly(self) -> bool:
        """Return whether every old value is in the new layout, and its checks hold."""
        return not (self.differences or self.lost or self.failing)

    @property
    def counts(self) -> dict[str, Any]:
        """Return how much differs, under the names of the record."""
        return {
            "differing_bytes": 0,
            "by_values": True,
            "differing_values": len(self.differences) + len(self.lost) + len(self.failing),
            "running_values": len(self.running_differences),
        }

    def _may(self, change: ValueChange) -> bool:
        return change.running and self.stage == AFTER_POWER


def compare_values(
    selected: Decoded, read: Decoded, renames: Renames, stage: str
) -> ValuesReadBack:
    """Compare the values read from the card with those of the selected copy, each by its layout.

    Raise LayoutRefused if the table of renames does not fit the layouts.
    """
    return ValuesReadBack(stage, carry_over(selected, read, renames), _failing(read.checks))


def compare(
    selected: Image,
    read: Image,
    stage: str,
    moving: Mapping[int, int] | None = None,
    checks: Iterable[CheckResult] = (),
) -> ReadBack:
    """Compare the image read from the card with the selected copy.

    `moving` gives for each address the bits that run by themselves, `checks` are those of the
    layout in the image read; both count only after power-up.
    """
    masks = (moving or {}) if stage == AFTER_POWER else {}
    differing = runs(selected, read)
    failing = _failing(checks) if stage == AFTER_POWER else ()
    if not masks:
        return ReadBack(stage, differing, (), failing)
    against: list[Run] = []
    running: list[Run] = []
    for run in differing:
        for part, fails in _split(run, masks):
            (against if fails else running).append(part)
    return ReadBack(stage, tuple(against), tuple(running), failing)


def _failing(checks: Iterable[CheckResult]) -> tuple[CheckResult, ...]:
    return tuple(check for check in checks if check.holds is not True)


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


def start_up(
    read: Image,
    differences: Sequence[Run],
    *,
    held_before: bool,
    memories: Mapping[str, Image],
) -> str | None:
    """Return in words that start-up wrote the bytes that differ after power, else None.

    `differences` are the runs that must not differ. `held_before`: before power the card was
    read back as loaded correctly. `memories` are images by name, such as the first image of a
    spare card.
    """
    count = sum(run.length for run in differences)
    if not count:
        return None
    if count >= FEWEST:
        for name, memory in memories.items():
            if all(_same(read, memory, run) for run in differences):
                return (
                    f"all {counted(count, 'byte')} that differ are now as in {name}: at start-up "
                    "the unit wrote those parameters over the loaded ones"
                )
    if held_before:
        return (
            f"before power the card held the copy, and {counted(count, 'byte')} changed since: "
            "the unit wrote them at start-up. A unit does this if it refuses its parameters and "
            "takes its defaults. The loading was correct"
        )
    return None


def _same(read: Image, memory: Image, run: Run) -> bool:
    held = memory.read(run.start, run.length)
    return held is not None and held == read.read(run.start, run.length)
