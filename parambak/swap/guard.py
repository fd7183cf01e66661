"""Whether a step of a swap may be taken: the conditions at that moment, and what is accepted unmet.

`swap check`, `load-file`, `read-back` and `close` all ask here, and accept in the same way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from parambak.errors import CallRefused, Fault, NotProven
from parambak.keeping.recording.texts import NAME, REMARK, check_texts
from parambak.keeping.state import conditions
from parambak.keeping.state.bodies import SwapDeviationBody
from parambak.swap.swaps import SWAP_NONE, newest_records

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.state.model import Condition
    from parambak.swap.readiness import Readiness
    from parambak.swap.state import SwapState
    from parambak.vault.vault import Vault, Writing

ACCEPT_CONDITION = Fault(
    "swap-accept-condition",
    CallRefused,
    "that condition cannot be accepted here",
    "Name a condition that `parambak swap check` lists. Some can never be accepted: formats/"
    "ships-rules.md marks them *always*.",
)
ACCEPT_WORDS = Fault(
    "swap-accept-words",
    CallRefused,
    "to accept a condition that is not met, give your name and a reason",
    "Give --accept {condition} --by NAME --reason TEXT.",
)
ACCEPT_ALONE = Fault(
    "swap-accept-none",
    CallRefused,
    "no condition to accept is named, so nothing was put on record",
    "Name it with --accept CONDITION, or leave --reason out.",
)
ACCEPT_ONE = Fault(
    "swap-accept-one",
    CallRefused,
    "accept one condition at a time, each with its own reason",
    "Accept all but one of them first: `parambak swap check {where} --accept {condition} --by NAME "
    "--reason TEXT`.",
)
CHANGED_MEANWHILE = Fault(
    "swap-changed-meanwhile",
    CallRefused,
    "another program put something on record of this vessel while this command was at work",
    "Run the same command again.",
)
ACCEPT_MET = Fault(
    "swap-accept-met",
    CallRefused,
    "{condition} is met: there is nothing to accept",
    "Leave that --accept out.",
)
SWAP_NOT_READY = Fault(
    "swap-not-ready",
    NotProven,
    "the swap is NOT READY, and nothing was done: {missing}",
    "Do this first. {steps}",
)
SWAP_NOT_FINISHED = Fault(
    "swap-not-finished",
    NotProven,
    "the swap stays open: {missing}",
    "Do this first. {steps}",
)


class Acceptance(NamedTuple):
    """What a person accepts unmet in one call: the conditions by name, why, and who."""

    names: tuple[str, ...] = ()
    reason: str | None = None
    by: str | None = None


NOTHING_ACCEPTED = Acceptance()


def accepted_now(
    where: str, names: Sequence[str], reason: str | None, by: str | None
) -> Acceptance:
    """Return what is accepted in a call at a WHERE; raise CallRefused for more than one thing."""
    if len(names) > 1:
        found = f"{len(names)} conditions"
        raise ACCEPT_ONE.error(where=where, condition=names[0], expected="one", found=found)
    return Acceptance(tuple(names), reason, by)


class Cleared(NamedTuple):
    """The state that a step rests on, its conditions, and what is accepted in this call."""

    state: SwapState
    readiness: Readiness
    accepted: tuple[Condition, ...]

    def refuse_changed(self, vault: Vault) -> None:
        """Raise CallRefused if something came on record of the vessel since; under the lock."""
        if newest_records(vault, self.state.vessel) != self.state.newest:
            raise CHANGED_MEANWHILE.error(
                expected="the records that this answer rests on", found="newer ones"
            )

    def put(self, writing: Writing, acceptance: Acceptance) -> None:
        """Put what is accepted on record, each condition with its evidence."""
        swap = self.state.swap
        if swap is None or acceptance.by is None or acceptance.reason is None:
            return
        mark = writing.person(acceptance.by, swap.vessel) if self.accepted else None
        for condition in self.accepted:
            body = SwapDeviationBody(
                swap=swap.id,
                condition=condition.condition,
                text=condition.text[:REMARK],
                reason=acceptance.reason,
            )
            writing.add(body.kind, swap.vessel, body.members(), by=mark)


def cleared(state: SwapState, acceptance: Acceptance, *, closing: bool = False) -> Cleared:
    """Return the conditions with what is accepted; raise CallRefused if it cannot be accepted.

    With `closing`, the conditions of the closing are among them.
    """
    names = tuple(dict.fromkeys(acceptance.names))
    able = acceptable(closing=closing)
    for name in names:
        if name not in able:
            raise ACCEPT_CONDITION.error(expected=", ".join(able), found=repr(name[:40]))
    if names and not (acceptance.by and acceptance.reason):
        found = "no --reason" if acceptance.by else "no --by"
        raise ACCEPT_WORDS.error(
            condition=names[0], expected="--by NAME --reason TEXT", found=found
        )
    if names and state.swap is None:
        where = state.position.where
        raise SWAP_NONE.error(where=where, expected="an open swap", found="none")
    check_texts(
        [("name of the person", acceptance.by, NAME), ("reason", acceptance.reason, REMARK)]
    )
    now = state.readiness(closing=closing).conditions
    accepted = tuple(condition for condition in now if condition.condition in names)
    for condition in accepted:
        if condition.met:
            raise ACCEPT_MET.error(
                condition=condition.condition, expected="one not met", found=condition.text
            )
    return Cleared(state, state.readiness(frozenset(names), closing=closing), accepted)


def acceptable(*, closing: bool) -> tuple[str, ...]:
    """Return the names of the conditions that a person can accept unmet."""
    return tuple(c.name for c in conditions.of_stage(closing=closing) if c.required.waivable)


def require(step: Cleared, fault: Fault = SWAP_NOT_READY) -> None:
    """Raise NotProven with each condition that is required, and neither met nor accepted."""
    missing = step.readiness.unmet
    if missing:
        raise refusal(step.state, missing, fault)


def refusal(state: SwapState, missing: Sequence[Condition], fault: Fault, *kept: str) -> Exception:
    """Return the refusal: each condition by name, what it is, and what to do.

    `kept` are sentences on what this call put on record all the same.
    """
    return fault.error(
        missing=", ".join(condition.condition for condition in missing),
        steps=" ".join([*steps(state.position.where, missing), *kept]),
        expected="each required condition met, or accepted by name and reason",
        found="; ".join(f"{condition.condition}: {condition.text}" for condition in missing),
    )


def steps(where: str, missing: Sequence[Condition]) -> tuple[str, ...]:
    """Return what to do about each condition that is missing, in sentences."""
    names = [condition.condition for condition in missing]
    answered = [name for name in names if name in conditions.answerable()]
    lines = []
    if answered:
        words = " ".join(f"'{name}=ANSWER: TEXT'" for name in answered)
        lines.append(
            f"Record what a person knows: `parambak swap answer {where} {words} --by NAME`. "
            "For ANSWER give yes, no, not-known or not-needed. For TEXT give what you saw."
        )
    lines += [
        f"{condition.name}: {condition.remedy or condition.met_when}"
        for condition in conditions.CONDITIONS
        if condition.name in names and condition.name not in answered
    ]
    waivable = [name for name in names if name in acceptable(closing=True)]
    if waivable and {*waivable, *answered}.issuperset(names):
        lines.append(
            "In an emergency, accept one that is not met: "
            f"`parambak swap check {where} --accept {waivable[0]} --by NAME --reason TEXT`."
        )
    return tuple(lines)
