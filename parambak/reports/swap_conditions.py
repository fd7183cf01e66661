"""The conditions of a swap as they stood: at its opening, at each loading, at its end."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from parambak.keeping.state.conditions import names
from parambak.swap.state import who
from parambak.swap.swaps import ABANDONED, OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from parambak.keeping.state.bodies import ConditionEntry
    from parambak.reports.parts import Desk
    from parambak.swap.state import SwapState
    from parambak.swap.swaps import Swap

NOW = "now"


class Moment(NamedTuple):
    """The conditions at one moment: its heading, when and by whom, and the entries as kept."""

    heading: str
    when: str
    entries: tuple[ConditionEntry, ...]


def conditions(desk: Desk, state: SwapState, swap: Swap) -> dict[str, Any]:
    """Return the table of the conditions at each moment, and what is missing at the last one."""
    moments = [moment for moment in _moments(desk, state, swap) if moment.entries]
    abandoned = swap.end is not None and swap.end.outcome == ABANDONED
    last = moments[-1].entries if moments and not abandoned else ()
    return {
        "missing": [entry.condition for entry in last if entry.missing],
        "moments": [{"heading": moment.heading, "when": moment.when} for moment in moments],
        "conditions": [_row(name, moments) for name in names() if _entries(name, moments)],
    }


def _moments(desk: Desk, state: SwapState, swap: Swap) -> Iterator[Moment]:
    """Yield the moments at which the conditions were kept; of a swap at work, also now."""
    yield Moment("opened", who(desk.assessor, swap.opened), swap.body.conditions)
    for step in swap.released:
        yield Moment("loaded", who(desk.assessor, step), step.body.conditions)
    for end in swap.ends:
        yield Moment(OUTCOMES.get(end.outcome, ""), who(desk.assessor, end), end.conditions)
    if swap.end is None or swap.unfinished:
        entries = state.readiness(closing=True).entries
        yield Moment(NOW, "by the records when this page was made", entries)


def _entries(name: str, moments: Sequence[Moment]) -> list[ConditionEntry | None]:
    """Return a condition's entry at each moment, None if it was not looked at; empty if never."""
    entries = [
        next((entry for entry in moment.entries if entry.condition == name), None)
        for moment in moments
    ]
    return entries if any(entries) else []


def _row(name: str, moments: Sequence[Moment]) -> dict[str, Any]:
    """Return a condition's state at each moment, and its words wherever they changed."""
    entries = _entries(name, moments)
    kept = [
        (moment, entry) for moment, entry in zip(moments, entries, strict=True) if entry is not None
    ]
    texts: list[str] = []
    for number, (moment, entry) in enumerate(kept):
        if number and entry.text == kept[number - 1][1].text:
            continue
        texts.append(entry.text if number == 0 else f"{moment.heading}: {entry.text}")
    return {
        "condition": name,
        "required": kept[-1][1].required,
        "states": [_state(entry) for entry in entries],
        "texts": texts,
    }


def _state(entry: ConditionEntry | None) -> dict[str, Any]:
    if entry is None:
        return {"looked": False}
    return {"looked": True, "met": entry.met, "accepted": entry.accepted}
