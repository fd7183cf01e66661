"""Whether a swap may begin: every condition with its evidence, none merged into another.

The cautions of a swap are here too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from parambak.keeping.recording.texts import REMARK
from parambak.keeping.state import conditions
from parambak.keeping.state.bodies import ConditionEntry
from parambak.keeping.state.rules import CAREFUL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.conditions import SwapCondition, SwapEvidence
    from parambak.keeping.state.model import Condition
    from parambak.keeping.state.rules import Rules
    from parambak.swap.swaps import Deviation

# The route on which nothing is loaded: common practice, no source.
MOVE_CHIP: tuple[str, ...] = (
    "Read the old chip twice before you move it, and archive both reads: the chip may break.",
    (
        "Keep a duplicate ready: a spare chip of the same part, loaded from `swap load-file`; or "
        "that file and a reader that can load it."
    ),
    "Note or photograph which way round the chip is fitted. Lift it straight, by both ends.",
    "Fit it to the new card with power off. Look for bent and folded pins.",
    "Read it again on the new card before power-up, and give the reads to `swap read-back`.",
    (
        "Links, switches, address and program memories stay with each card. First compare the two "
        "sheets with `card compare`."
    ),
)
CAUTIONS: tuple[str, ...] = (
    "Isolate and lock out the unit. Inform all who depend on it before power goes off.",
    "Follow the maker's instructions and the ship's permit to work.",
    "Take static precautions. Memory kept by a battery may be lost when the card comes out.",
    "Label the old card and bag it. Do not overwrite it until the trials are done.",
    "Test every function and every safety action before return to service.",
    "Class, flag, local codes and licensed practice take precedence over these words.",
    "Parambak compares bytes. It does not show that the unit is safe.",
)


@dataclass(frozen=True, slots=True)
class Readiness:
    """The conditions in the order of the work, and the names of those that are required.

    `deviations` were accepted earlier, `accepted` are accepted in this call. `required_when_open`
    are the names of those that are required once a swap is open.
    """

    conditions: tuple[Condition, ...]
    required: frozenset[str]
    deviations: tuple[Deviation, ...] = ()
    accepted: frozenset[str] = frozenset()
    required_when_open: frozenset[str] = frozenset()

    @property
    def ready(self) -> bool:
        """Return whether every required condition is met or accepted; "not known" is not met."""
        return not self.missing

    @property
    def missing(self) -> tuple[str, ...]:
        """Return the required conditions that are neither met nor accepted."""
        return tuple(entry.condition for entry in self.entries if entry.missing)

    @property
    def unmet(self) -> tuple[Condition, ...]:
        """Return the required conditions that are neither met nor accepted, with their words."""
        missing = frozenset(self.missing)
        return tuple(c for c in self.conditions if c.condition in missing)

    @property
    def entries(self) -> tuple[ConditionEntry, ...]:
        """Return each condition as it is put on record."""
        return tuple(
            ConditionEntry(
                condition=condition.condition,
                text=condition.text[:REMARK],
                met=condition.met,
                required=condition.condition in self.required,
                accepted=self._accepted(condition),
            )
            for condition in self.conditions
        )

    def counts(self, deviation: Deviation) -> bool:
        """Return whether an acceptance still counts: it does while the evidence is the same."""
        return any(
            condition.condition == deviation.condition
            and not condition.met
            and condition.text[:REMARK] == deviation.text
            for condition in self.conditions
        )

    def _accepted(self, condition: Condition) -> bool:
        if condition.met:
            return False
        return condition.condition in self.accepted or any(
            deviation.condition == condition.condition and self.counts(deviation)
            for deviation in self.deviations
        )


def readiness(
    evidence: SwapEvidence,
    rules: Rules = CAREFUL,
    deviations: Sequence[Deviation] = (),
    accepted: frozenset[str] = frozenset(),
    *,
    closing: bool = False,
) -> Readiness:
    """Return whether a swap may begin by the ship's rules; with `closing`, whether it may end."""
    of_stage = conditions.of_stage(closing=closing)
    opened = replace(evidence, answers=evidence.answers or {})
    return Readiness(
        tuple(condition.state(evidence) for condition in of_stage),
        _required(of_stage, evidence, rules),
        tuple(deviations),
        accepted,
        required_when_open=_required(of_stage, opened, rules),
    )


def _required(
    of_stage: Sequence[SwapCondition], evidence: SwapEvidence, rules: Rules
) -> frozenset[str]:
    return frozenset(
        condition.name
        for condition in of_stage
        if rules.requires(condition.name, by_default=condition.required.by_default(evidence))
    )
