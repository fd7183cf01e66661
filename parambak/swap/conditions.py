"""Whether a swap may begin: every condition with its evidence, none merged into another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from parambak.keeping.state.rules import CAREFUL, CONDITIONS, TOLD, VERIFIED
from parambak.keeping.verified import Condition
from parambak.memory.counted import counted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import date

    from parambak.keeping.state.rules import Rules
    from parambak.keeping.verified import Verdict
    from parambak.layouts.decode import Decoded
    from parambak.swap.card_sheet import Entry
    from parambak.swap.swaps import Answer, Deviation

QUESTIONS = {
    "diagnosed": "is the card the cause? Supplies, fuses and connectors first",
    "last-read": "was the old card read once more, where that is safe, or why not",
    "duplicate-channel": "is there a duplicate channel, and is it healthy",
    "impact": "what else does it touch? Connected systems, alarms, modes of working",
    "decided": "who decides on the swap",
    "permit": "under which permit, or no permit system and the master informed",
    "protections": "which protections are out meanwhile, and who watches",
    "way-back": "when to stop, and how the old card is fitted again",
    "old-card-kept": "is the old card labelled, bagged and kept until the trials are done",
}
UNSURE = (
    "a record is damaged or gone that may say which copy is meant: fetch it from another copy of "
    "the vault, or choose the copy anew with `swap choose`"
)
CHOSEN_LOST = (
    "the copy that was chosen in this swap is not on record here any more; choose one with "
    "`swap choose`"
)
MOST_NAMED = 12  # values in a sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class SwapEvidence:
    """All that the answer rests on.

    `copy` and `verdict` are None where the position has no copy, with `chosen_lost` where the
    one that was chosen is no longer this position's; `older` says why it is
    not the newest; `decoded` is None where there is no layout; `sheet` says whether the
    unit's card sheet is on record; `entries` is None where no new card's sheet was given.
    `unsure` tells that a record is lost which may say which copy is meant.
    `own_sheet` tells that the new card's is the very file of the unit's.
    `supplies` is what was measured. `held` are the other places that held the copy: name,
    day when that was shown, and whether it was hashed there. `answers` are what was told
    of the open swap, by condition, each with its words about who and when; None where no
    swap is open. `read_since` is the day of a read since it was opened.
    """

    copy: str | None
    verdict: Verdict | None
    decoded: Decoded | None = None
    sheet: bool = False
    entries: Sequence[Entry] | None = None
    older: str | None = None
    supplies: tuple[bool | None, str] = (None, "no supply was measured")
    held: Sequence[tuple[str, date, bool]] = ()
    answers: Mapping[str, tuple[Answer, str]] | None = None
    read_since: str | None = None
    chosen_lost: bool = False
    own_sheet: bool = False
    unsure: bool = False


@dataclass(frozen=True, slots=True)
class Readiness:
    """The conditions in the order of the work, and the names of those that are required.

    `deviations` are those accepted earlier, `accepted` those accepted in this very call.
    """

    conditions: tuple[Condition, ...]
    required: frozenset[str]
    deviations: tuple[Deviation, ...] = ()
    accepted: frozenset[str] = frozenset()

    @property
    def ready(self) -> bool:
        """Return whether every required condition is met, or was accepted in this call.

        "Not known" does not count as met.
        """
        return not self.wanting

    @property
    def told(self) -> list[dict[str, str | bool | None]]:
        """Return each condition under the keys of the script contract."""
        return [
            {
                "condition": each.condition,
                "met": each.met,
                "text": each.text,
                "required": each.condition in self.required,
            }
            for each in self.conditions
        ]

    @property
    def wanting(self) -> tuple[str, ...]:
        """Return the required conditions that are not met, nor accepted in this call."""
        return tuple(
            each.condition
            for each in self.conditions
            if each.condition in self.required
            and not each.met
            and each.condition not in self.accepted
        )


def readiness(
    evidence: SwapEvidence,
    rules: Rules = CAREFUL,
    deviations: Sequence[Deviation] = (),
    accepted: frozenset[str] = frozenset(),
) -> Readiness:
    """Return whether a swap may begin under the ship's rules."""
    found = {each.condition: each for each in _conditions(evidence)}
    default = {"copy", *VERIFIED}
    if evidence.decoded is not None:
        default.add("within-limits")
    if evidence.entries is not None:
        default.add("new-card")
    if evidence.answers is not None:
        default.update(TOLD)
    if evidence.unsure:
        default.add("meant")
    if evidence.supplies[0] is False:
        default.add("supplies")  # not measured is not known; measured and out is a no
    required = frozenset(n for n in CONDITIONS if rules.requires(n, by_default=n in default))
    ordered = tuple(found[name] for name in CONDITIONS)
    return Readiness(ordered, required, tuple(deviations), accepted)


def _conditions(evidence: SwapEvidence) -> list[Condition]:
    verdict = evidence.verdict
    return [
        *(_told(evidence, name) for name in QUESTIONS if name != "last-read"),
        Condition("supplies", *evidence.supplies),
        _last_read(evidence),
        _copy(evidence),
        *(verdict.conditions if verdict is not None else _nothing_to_judge()),
        _meant(evidence),
        _second_place(evidence.held),
        _within_limits(evidence.decoded),
        _sheet_on_record(sheet=evidence.sheet),
        _new_card(evidence),
        _belongs_to_card(evidence),
        _counters(evidence),
    ]


def _told(evidence: SwapEvidence, name: str) -> Condition:
    """Return a condition that only a person can tell."""
    told = (evidence.answers or {}).get(name)
    if told is None:
        return Condition.unknown(name, f"not told: {QUESTIONS[name]}")
    answer, who = told
    return Condition(name, answer.met, f"{_word(answer)}{answer.text} ({who})")


def _word(answer: Answer) -> str:
    words = {"not-needed": "not needed: ", "not-known": "not known: "}
    return words.get(answer.answer, "")


def _last_read(evidence: SwapEvidence) -> Condition:
    if evidence.read_since is not None and "last-read" not in (evidence.answers or {}):
        return Condition.yes("last-read", f"read on {evidence.read_since}, with the swap open")
    return _told(evidence, "last-read")


def _copy(evidence: SwapEvidence) -> Condition:
    copy = evidence.copy
    if evidence.chosen_lost:
        return Condition.no("copy", CHOSEN_LOST)
    if copy is None:
        return Condition.no("copy", "no copy of this position is in the vault")
    return Condition.yes("copy", copy)


def _nothing_to_judge() -> list[Condition]:
    return [Condition.unknown(name, "there is no copy to judge") for name in VERIFIED]


def _meant(evidence: SwapEvidence) -> Condition:
    if evidence.copy is None:
        return Condition.unknown("meant", "there is no copy")
    if evidence.unsure:
        return Condition.unknown("meant", UNSURE)
    if evidence.older is not None:
        return Condition.yes("meant", f"an older copy, {evidence.copy}: {evidence.older}")
    return Condition.yes("meant", f"the newest copy, {evidence.copy}")


def _second_place(held: Sequence[tuple[str, date, bool]]) -> Condition:
    name = "second-place"
    shown = [f"{place} ({day})" for place, day, hashed in held if hashed]
    if shown:
        return Condition.yes(name, f"shown to be held in {', '.join(shown)}")
    if held:
        listed = ", ".join(f"{place} ({day})" for place, day, _ in held)
        return Condition.unknown(name, f"sent to {listed}, and not hashed there")
    return Condition.unknown(name, "no other place was shown to hold it; `place send` shows that")


def _within_limits(decoded: Decoded | None) -> Condition:
    name = "within-limits"
    if decoded is None:
        return Condition.unknown(name, "no layout: the values are not known")
    outside = [f for f in decoded.fields if f.within_limits is False]
    if outside:
        words = [f"{f.field} is {f.value} {f.unit or ''}".strip() for f in outside]
        return Condition.no(name, "outside its limits: " + "; ".join(words))
    limited = sum(1 for f in decoded.fields if f.within_limits is not None)
    return Condition.yes(name, f"{counted(limited, 'value')} with limits, all inside")


def _belongs_to_card(evidence: SwapEvidence) -> Condition:
    name = "belongs-to-card"
    told = (evidence.answers or {}).get(name)
    if told is not None:
        answer, who = told
        return Condition(name, answer.met, f"{_word(answer)}{answer.text} ({who})")
    if evidence.decoded is None:
        return Condition.unknown(name, "no layout: not known which fields belong to the card")
    fields = [f.field for f in evidence.decoded.fields if f.belongs_to_card]
    if not fields:
        return Condition.yes(name, "no field is declared to belong to the card itself")
    return Condition.unknown(
        name,
        f"belong to the old card, check them against the new one's: {', '.join(fields)}",
    )


def _counters(evidence: SwapEvidence) -> Condition:
    name = "counters"
    told = (evidence.answers or {}).get(name)
    if told is not None:
        answer, who = told
        return Condition(name, answer.met, f"{_word(answer)}{answer.text} ({who})")
    if evidence.decoded is None:
        return Condition.unknown(name, "no layout: not known which values count on")
    moving = [f for f in evidence.decoded.fields if f.expected_to_change]
    if not moving:
        return Condition.yes(name, "no field is declared to count on")
    words = [f"{f.field} {f.value} {f.unit or ''}".strip() for f in moving[:MOST_NAMED]]
    more = f", and {len(moving) - MOST_NAMED} more" if len(moving) > MOST_NAMED else ""
    listed = "; ".join(words)
    return Condition.unknown(
        name, f"will go back to those of the copy; note what they show now: {listed}{more}"
    )


def _sheet_on_record(*, sheet: bool) -> Condition:
    if sheet:
        return Condition.yes("card-sheet", "the unit's card sheet is on record")
    return Condition.unknown(
        "card-sheet", "no card sheet on record; put it there with `card record`"
    )


def _nothing_compared(evidence: SwapEvidence) -> str | None:
    if evidence.entries is None:
        return "no sheet of the new card was given (--new-card)"
    if evidence.own_sheet:
        return "the sheet given is the very file on record for the unit: was the card read off?"
    return None if evidence.sheet else "nothing to compare the new card's sheet with"


def _new_card(evidence: SwapEvidence) -> Condition:
    name, entries = "new-card", evidence.entries
    nothing = _nothing_compared(evidence)
    if entries is None or nothing is not None:
        return Condition.unknown(name, nothing or "")
    differing = [f"{e.name}: needs {e.unit}, has {e.card}" for e in entries if e.same is False]
    if differing:
        what = "; what each means: `card compare`"
        return Condition.no(name, "; ".join(differing) + what)
    if not entries:
        return Condition.unknown(name, "neither sheet states anything")
    unstated = [e.name for e in entries if e.same is None]
    if unstated:
        return Condition.unknown(name, f"not stated on both sheets: {', '.join(unstated)}")
    return Condition.yes(name, f"{counted(len(entries), 'entry', 'entries')}, all the same")
