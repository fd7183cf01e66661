"""Whether a swap may begin: every condition with its evidence, none merged into another.

The cautions of a swap are here too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from parambak.keeping.state import conditions
from parambak.keeping.state.rules import CAREFUL

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.conditions import SwapEvidence
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
        """Return whether every required condition is met, or was accepted in this call.

        "Not known" does not count as met.
        """
        return not self.missing

    @property
    def listed(self) -> list[dict[str, str | bool | None]]:
        """Return each condition under the keys of the script contract."""
        return [
            {
                "condition": condition.condition,
                "met": condition.met,
                "text": condition.text,
                "required": condition.condition in self.required,
            }
            for condition in self.conditions
        ]

    @property
    def missing(self) -> tuple[str, ...]:
        """Return the required conditions that are not met, nor accepted in this call."""
        return tuple(
            condition.condition
            for condition in self.conditions
            if condition.condition in self.required
            and not condition.met
            and condition.condition not in self.accepted
        )


def readiness(
    evidence: SwapEvidence,
    rules: Rules = CAREFUL,
    deviations: Sequence[Deviation] = (),
    accepted: frozenset[str] = frozenset(),
) -> Readiness:
    """Return whether a swap may begin under the ship's rules."""
    opened = replace(evidence, answers=evidence.answers or {})
    states = tuple(condition.state(evidence) for condition in conditions.CONDITIONS)
    return Readiness(
        states,
        _required(evidence, rules),
        tuple(deviations),
        accepted,
        required_when_open=_required(opened, rules),
    )


def _required(evidence: SwapEvidence, rules: Rules) -> frozenset[str]:
    return frozenset(
        condition.name
        for condition in conditions.CONDITIONS
        if rules.requires(condition.name, by_default=condition.required.by_default(evidence))
    )
