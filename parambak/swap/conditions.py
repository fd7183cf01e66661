"""Whether a swap may begin: every condition with its evidence, none merged into another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parambak.keeping.rules import CONDITIONS, VERIFIED
from parambak.keeping.verified import Condition

if TYPE_CHECKING:
    from collections.abc import Sequence

    from parambak.keeping.rules import Rules
    from parambak.keeping.verified import Verdict
    from parambak.layouts.decode import Decoded
    from parambak.swap.card_sheet import Entry


@dataclass(frozen=True, slots=True)
class Readiness:
    """The conditions in the order of the work, and the names of those that are required."""

    conditions: tuple[Condition, ...]
    required: frozenset[str]

    @property
    def ready(self) -> bool:
        """Return whether every required condition is met; "not known" does not count as met."""
        return all(c.met for c in self.conditions if c.condition in self.required)


def readiness(  # noqa: PLR0913 - the parts of the evidence
    *,
    copy: str | None,
    verdict: Verdict | None,
    decoded: Decoded | None,
    sheet: bool,
    entries: Sequence[Entry] | None,
    rules: Rules,
) -> Readiness:
    """Return whether a swap may begin with this copy.

    `copy` and `verdict` are None where the position has no copy; `decoded`
    where it has no layout; `sheet` says whether the unit's card sheet is on
    record; `entries` is None where no new card's sheet was given.
    """
    conditions = [
        _copy(copy),
        *(verdict.conditions if verdict is not None else _nothing_to_judge()),
        _within_limits(decoded),
        _belongs_to_card(decoded),
        _sheet_on_record(sheet=sheet),
        _new_card(sheet=sheet, entries=entries),
    ]
    default = {"copy", *VERIFIED}
    if decoded is not None:
        default.add("within-limits")
    if entries is not None:
        default.add("new-card")
    required = frozenset(n for n in CONDITIONS if rules.requires(n, by_default=n in default))
    return Readiness(tuple(conditions), required)


def _copy(copy: str | None) -> Condition:
    if copy is None:
        return Condition.no("copy", "no copy of this position is in the vault")
    return Condition.yes("copy", copy)


def _nothing_to_judge() -> list[Condition]:
    names = ("read-twice", "plausible", "checks-hold", "intact")
    return [Condition.unknown(name, "there is no copy to judge") for name in names]


def _within_limits(decoded: Decoded | None) -> Condition:
    name = "within-limits"
    if decoded is None:
        return Condition.unknown(name, "no layout: the values are not known")
    outside = [f for f in decoded.fields if f.within_limits is False]
    if outside:
        words = [f"{f.field} is {f.value} {f.unit or ''}".strip() for f in outside]
        return Condition.no(name, "outside its limits: " + "; ".join(words))
    limited = sum(1 for f in decoded.fields if f.within_limits is not None)
    return Condition.yes(name, f"{limited} values with limits, all inside")


def _belongs_to_card(decoded: Decoded | None) -> Condition:
    name = "belongs-to-card"
    if decoded is None:
        return Condition.unknown(name, "no layout: not known which fields belong to the card")
    fields = [f.field for f in decoded.fields if f.belongs_to_card]
    if not fields:
        return Condition.yes(name, "no field is declared to belong to the card itself")
    return Condition.unknown(
        name,
        f"belong to the old card, check them against the new one's: {', '.join(fields)}",
    )


def _sheet_on_record(*, sheet: bool) -> Condition:
    if sheet:
        return Condition.yes("card-sheet", "the unit's card sheet is on record")
    return Condition.unknown(
        "card-sheet", "no card sheet on record; put it there with `card record`"
    )


def _new_card(*, sheet: bool, entries: Sequence[Entry] | None) -> Condition:
    name = "new-card"
    if entries is None:
        return Condition.unknown(name, "no sheet of the new card was given (--new-card)")
    if not sheet:
        return Condition.unknown(name, "nothing to compare the new card's sheet with")
    differing = [f"{e.name}: needs {e.unit}, has {e.card}" for e in entries if e.same is False]
    if differing:
        return Condition.no(name, "; ".join(differing))
    if not entries:
        return Condition.unknown(name, "neither sheet states anything")
    unstated = [e.name for e in entries if e.same is None]
    if unstated:
        return Condition.unknown(name, f"not stated on both sheets: {', '.join(unstated)}")
    return Condition.yes(name, f"all {len(entries)} entries agree")
